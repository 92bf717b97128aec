"""Policies by which PostgreSQL shows the application's role the rows of one company alone."""

from django.db import migrations

from accounts.wall_policies import WallOff


class Migration(migrations.Migration):
    dependencies = [("accounts", "0018_wall_between_companies"), ("webhooks", "0001_initial")]

    operations = [
        WallOff("webhookendpoint"),
        WallOff("webhookdelivery", "endpoint"),
    ]
