from datetime import UTC

from django.db import migrations
from django.db.models.functions import TruncMinute

# Rounds were stored to the second; people are told whole minutes, and what they are told can be confirmed.
TIMES = {
    "Round": ("leaves_at", "returns_at", "lunch_at"),
    "Stop": ("arrives_at", "starts_at", "leaves_at"),
    "Visit": ("appointment_at", "locked_start"),
}


def to_the_minute(apps, schema_editor):
    for model, fields in TIMES.items():
        rows = apps.get_model("scheduling", model)._base_manager.using(schema_editor.connection.alias)
        rows.update(**{field: TruncMinute(field, tzinfo=UTC) for field in fields})


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0038_prices_and_invoices")]

    operations = [migrations.RunPython(to_the_minute, migrations.RunPython.noop)]
