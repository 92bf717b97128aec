"""Differential pressure has one name in the numbers of findings and in what a fleet has taught, too."""

from typing import Any

from django.db import migrations

OF_FINDINGS = {
    "clean_drop_kpa": "clean_differential_pressure_kpa",
    "drop_ratio": "differential_pressure_ratio",
}
OF_LESSONS = {"clean_drop": "clean_differential", "drop_noise": "differential_noise"}


def _renamed(values: dict[str, Any], names: dict[str, str]) -> dict[str, Any]:
    return {names.get(name, name): value for name, value in values.items()}


def rename(apps: Any, of_findings: dict[str, str], of_lessons: dict[str, str]) -> None:
    changed = []
    findings = apps.get_model("fleet", "Finding").objects
    for finding in findings.iterator(chunk_size=2000):
        if of_findings.keys() & finding.numbers.keys():
            finding.numbers = _renamed(finding.numbers, of_findings)
            changed.append(finding)
    findings.bulk_update(changed, ["numbers"], batch_size=500)
    for lesson in apps.get_model("fleet", "FleetLesson").objects.iterator(chunk_size=100):
        if isinstance(lesson.learned, dict) and isinstance(lesson.learned.get("means"), dict):
            lesson.learned["means"] = _renamed(lesson.learned["means"], of_lessons)
            lesson.save(update_fields=["learned"])


def forwards(apps: Any, schema_editor: Any) -> None:
    rename(apps, OF_FINDINGS, OF_LESSONS)


def backwards(apps: Any, schema_editor: Any) -> None:
    rename(apps, *({new: old for old, new in names.items()} for names in (OF_FINDINGS, OF_LESSONS)))


class Migration(migrations.Migration):
    dependencies = [("fleet", "0020_life_of_a_fresh_cartridge")]

    operations = [migrations.RunPython(forwards, backwards)]
