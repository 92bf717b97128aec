"""Policies by which PostgreSQL shows the application's role the rows of one company alone."""

from django.db import migrations

from accounts.wall_policies import WallOff


class Migration(migrations.Migration):
    dependencies = [("accounts", "0018_wall_between_companies"), ("jobs", "0005_times_of_steps")]

    operations = [
        WallOff("job"),
        WallOff("jobchunk", "job"),
        WallOff("steptime"),
    ]
