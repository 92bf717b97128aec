"""Policies by which PostgreSQL shows the application's role the rows of one company alone."""

from django.db import migrations

from accounts.wall_policies import WallOff


class Migration(migrations.Migration):
    dependencies = [("accounts", "0018_wall_between_companies"), ("fleet", "0042_stages_behind_the_resin")]

    operations = [
        WallOff("site"),
        WallOff("accessexception", "site"),
        WallOff("accesswindow", "site"),
        WallOff("unit"),
        WallOff("position", "unit"),
        WallOff("instrument"),
        WallOff("supplier"),
        WallOff("catalogueitem"),
        WallOff("partsrule"),
        WallOff("intakebatch"),
        WallOff("uploadpiece", "batch"),
        WallOff("refusedrow", "batch"),
        WallOff("pastownership"),
        WallOff("feedwatersample", "site"),
        WallOff("reading", "unit"),
        WallOff("finding", "unit"),
        WallOff("placement", "position"),
        WallOff("forecast", "position"),
        WallOff("fleetlesson"),
        WallOff("forecastscore"),
        WallOff("readingindicators", "reading"),
        WallOff("exhaustionlimits"),
        WallOff("unitreview", "unit"),
    ]
