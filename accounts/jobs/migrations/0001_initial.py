"""Jobs have a room of their own: the tables of the fleet's jobs are taken over with their rows."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    # A database that is older than its own room of jobs took the fleet's steps before; named here, they would go in a
    # circle with those that are taken at once.
    dependencies = [("accounts", "0001_initial")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    name="Job",
                    fields=[
                        ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                        ("kind", models.CharField(max_length=40)),
                        ("parameters", models.JSONField(blank=True, default=dict)),
                        ("state", models.CharField(choices=[("waiting", "waiting"), ("running", "running"), ("done", "done"), ("failed", "failed"), ("stopped", "stopped")], default="waiting", max_length=10)),
                        ("share_done", models.FloatField(default=0.0, help_text="0 to 1")),
                        ("doing", models.CharField(blank=True, max_length=200)),
                        ("result", models.JSONField(blank=True, null=True)),
                        ("problem", models.JSONField(blank=True, help_text="problem details when it failed", null=True)),
                        ("stop_requested", models.BooleanField(default=False)),
                        ("created_at", models.DateTimeField()),
                        ("started_at", models.DateTimeField(blank=True, null=True)),
                        ("finished_at", models.DateTimeField(blank=True, null=True)),
                        ("company", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="jobs", to="accounts.company")),
                        ("requested_by", models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name="+", to="accounts.membership")),
                    ],
                    options={"ordering": ["-created_at", "-pk"], "db_table": "fleet_job"},
                ),
                migrations.CreateModel(
                    name="JobChunk",
                    fields=[
                        ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                        ("index", models.PositiveIntegerField()),
                        ("payload", models.JSONField(default=dict)),
                        ("state", models.CharField(choices=[("waiting", "waiting"), ("running", "running"), ("done", "done"), ("failed", "failed")], default="waiting", max_length=10)),
                        ("attempts", models.PositiveIntegerField(default=0)),
                        ("lease_until", models.DateTimeField(blank=True, null=True)),
                        ("result", models.JSONField(blank=True, null=True)),
                        ("job", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="chunks", to="jobs.job")),
                    ],
                    options={"ordering": ["job_id", "index"], "db_table": "fleet_jobchunk"},
                ),
                migrations.AddConstraint(
                    model_name="jobchunk",
                    constraint=models.UniqueConstraint(fields=("job", "index"), name="one_chunk_per_index"),
                ),
            ],
        ),
    ]
