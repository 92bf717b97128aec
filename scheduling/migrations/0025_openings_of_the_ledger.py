from django.db import migrations


def begin_ledgers(apps, schema_editor):
    levels = apps.get_model("scheduling", "StockLevel").objects
    movements = apps.get_model("scheduling", "StockMovement").objects
    rows = []
    for level in levels.order_by("pk").iterator():
        rows.append(
            movements.model(
                company_id=level.company_id,
                item_id=level.item_id,
                kind="opening",
                from_place="outside",
                to_place="store" if level.installer_id is None else "van",
                to_installer_id=level.installer_id,
                pieces=level.quantity,
                put=level.quantity,
                counted=level.quantity,
                happened_at=level.counted_at,
                recorded_at=level.counted_at,
            )
        )
    movements.bulk_create(rows, batch_size=1000)


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0024_ledger_of_stock")]

    operations = [migrations.RunPython(begin_ledgers, migrations.RunPython.noop)]
