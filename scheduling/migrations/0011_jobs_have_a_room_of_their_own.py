"""The job that made a plan is a row of the jobs room; the rows and the column stay as they are."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0010_installers_on_the_company_clock"), ("jobs", "0001_initial")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.AlterField(
                    model_name="plan",
                    name="job",
                    field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name="plans", to="jobs.job"),
                ),
            ],
        ),
    ]
