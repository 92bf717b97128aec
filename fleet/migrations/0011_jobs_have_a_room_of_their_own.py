"""Jobs are no longer rows of the fleet: the jobs room has taken their tables over."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0010_sites_on_the_company_clock"),
        ("jobs", "0001_initial"),
        ("scheduling", "0011_jobs_have_a_room_of_their_own"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[migrations.DeleteModel(name="JobChunk"), migrations.DeleteModel(name="Job")],
        ),
    ]
