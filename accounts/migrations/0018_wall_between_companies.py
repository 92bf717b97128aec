"""Policies by which PostgreSQL shows the application's role the rows of one company alone.

Nothing changes for whoever owns the tables, nor on SQLite.
"""

from django.db import migrations

from accounts.wall_policies import WallFunctions, WallOff


class Migration(migrations.Migration):
    dependencies = [("accounts", "0017_letters_about_endpoints")]

    operations = [
        WallFunctions(),
        WallOff("company", "id"),
        WallOff("client"),
        WallOff("membership"),
        WallOff("invitation"),
        WallOff("accesstoken", "membership"),
        WallOff("browsersession", "membership"),
        WallOff("auditentry"),
        WallOff("storedanswer"),
    ]
