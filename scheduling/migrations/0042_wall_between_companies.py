"""Policies by which PostgreSQL shows the application's role the rows of one company alone."""

from django.db import migrations

from accounts.wall_policies import WallOff


class Migration(migrations.Migration):
    dependencies = [("fleet", "0043_wall_between_companies"), ("scheduling", "0041_days_of_what_followed")]

    operations = [
        WallOff("need"),
        WallOff("installer"),
        WallOff("absence"),
        WallOff("visit"),
        WallOff("visittask", "visit"),
        WallOff("servicerecord"),
        WallOff("servicephoto", "record"),
        WallOff("visitaddition", "visit"),
        WallOff("calendarfeed"),
        WallOff("vatrate"),
        WallOff("salesprice"),
        WallOff("servicecontract"),
        WallOff("warranty"),
        WallOff("invoice"),
        WallOff("invoiceline", "invoice"),
        WallOff("invoicedwork", "invoice"),
        WallOff("plan"),
        WallOff("round", "plan"),
        WallOff("stop", "round"),
        WallOff("unservedvisit", "plan"),
        WallOff("stocklevel"),
        WallOff("partslist"),
        WallOff("partsline", "parts_list"),
        WallOff("purchaseorder"),
        WallOff("purchaseorderline", "order"),
        WallOff("delivery", "order"),
        WallOff("message"),
        WallOff("messagedocument", "message"),
        WallOff("stockmovement"),
        WallOff("companypolicy"),
        WallOff("readingphoto", "reading"),
        WallOff("sitepair"),
        WallOff("roadcalibration"),
    ]
