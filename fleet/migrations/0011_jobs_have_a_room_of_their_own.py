"""Jobs are no longer rows of the fleet: the jobs room has taken their tables over."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0010_sites_on_the_company_clock"),
        ("jobs", "0001_initial"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[migrations.DeleteModel(name="JobChunk"), migrations.DeleteModel(name="Job")],
        ),
    ]
