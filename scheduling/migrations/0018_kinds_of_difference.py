from django.db import migrations

RENAMED = {"moved_day": "rescheduled", "moved_installer": "reassigned"}


def rename_kinds(apps, schema_editor, renamed=RENAMED):
    plans = apps.get_model("scheduling", "Plan").objects
    for plan in plans.exclude(differences=[]).only("pk", "differences").iterator():
        rows = [{**row, "kind": renamed.get(row["kind"], row["kind"])} for row in plan.differences]
        if rows != plan.differences:
            plans.filter(pk=plan.pk).update(differences=rows)


def restore_kinds(apps, schema_editor):
    rename_kinds(apps, schema_editor, {new: old for old, new in RENAMED.items()})


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0017_additions_to_confirmed_visits")]

    operations = [migrations.RunPython(rename_kinds, restore_kinds)]
