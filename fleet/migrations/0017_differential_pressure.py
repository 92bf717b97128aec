"""One name for the pressure that is lost over the prefilters, in columns and in what was stored under its name."""

from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import migrations, models

RENAMED = {
    f"{prefix}prefilter_drop_kpa": f"{prefix}prefilter_differential_pressure_kpa" for prefix in ("", "normalised_", "clean_")
}
STORED = {"ReadingIndicators": ("values", "uncertainties", "reasons"), "Finding": ("numbers",)}


def rename(apps: Any, names: dict[str, str]) -> None:
    for model, columns in STORED.items():
        changed = []
        rows = apps.get_model("fleet", model).objects
        for row in rows.iterator(chunk_size=2000):
            if any(names.keys() & getattr(row, column).keys() for column in columns):
                for column in columns:
                    setattr(row, column, {names.get(name, name): value for name, value in getattr(row, column).items()})
                changed.append(row)
        rows.bulk_update(changed, columns, batch_size=500)


def forwards(apps: Any, schema_editor: Any) -> None:
    rename(apps, RENAMED)


def backwards(apps: Any, schema_editor: Any) -> None:
    rename(apps, {new: old for old, new in RENAMED.items()})


class Migration(migrations.Migration):
    dependencies = [("fleet", "0016_maximum_service_time")]

    operations = [
        migrations.RenameField("exhaustionlimits", "prefilter_drop_kpa", "prefilter_differential_pressure_kpa"),
        migrations.AlterField(
            "exhaustionlimits",
            "prefilter_differential_pressure_kpa",
            models.FloatField(
                blank=True,
                help_text="differential pressure over the prefilters at the design flow and 25 degC",
                null=True,
                validators=[MinValueValidator(28.0), MaxValueValidator(68.95)],
            ),
        ),
        migrations.RunPython(forwards, backwards),
    ]
