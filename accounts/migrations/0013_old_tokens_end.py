"""Tokens from before there were scopes may do all that their member's role may: none of them lasts for years.

Those of meters are named what they are. Those of people end within 30 days of this step, as a sign-in does; whoever
needs one for longer makes another with scopes.
"""

from datetime import timedelta

from django.db import migrations
from django.utils import timezone


def end_them(apps, schema_editor):
    tokens = apps.get_model("accounts", "AccessToken").objects.filter(scopes__isnull=True)
    tokens.filter(meter_unit_id__isnull=False).update(scopes=["readings"])
    last_end = timezone.now() + timedelta(days=30)
    tokens.filter(meter_unit_id=None, expiry__gt=last_end).update(expiry=last_end)
    tokens.filter(meter_unit_id=None, expiry=None).update(expiry=last_end)


class Migration(migrations.Migration):
    dependencies = [("accounts", "0012_second_factor")]

    operations = [migrations.RunPython(end_them, migrations.RunPython.noop)]
