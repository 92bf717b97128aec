"""Policies by which PostgreSQL shows the application's role the rows of one company alone."""

from django.db import migrations

from accounts.wall_policies import WallOff


class Migration(migrations.Migration):
    dependencies = [("accounts", "0017_wall_between_companies"), ("jobs", "0003_what_a_share_is")]

    operations = [
        WallOff("job"),
        WallOff("jobchunk", "job"),
    ]
