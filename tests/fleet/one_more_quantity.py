"""Run by a process of its own: adds a record to the quantities of a reading, then prints who knows of it.

The records are read when the rooms are imported, so the record has to be there first.
"""

import io
import json
from typing import Any

from fleet.engineering import quantities
from fleet.engineering.kinds import PRESSURE

NEW = quantities.Quantity(
    "drain_pressure_kpa",
    "P_d",
    PRESSURE.within(0.0, 200.0, usual_low=0.0, usual_high=50.0),
    "pressure of the concentrate at the drain, gauge",
    needs_flow=True,
    needs_flushing=True,
    slip_log=0.5,
)


def stored() -> dict[str, Any]:
    """Migrate a database in memory, store a reading that holds the quantity, and read it over the API."""
    from django.apps import apps
    from django.core.management import call_command
    from django.db import connection

    from fleet.api.readings import NewReadingSerializer, ReadingSerializer
    from fleet.intake.readings_log import VOCABULARY
    from fleet.models import Reading

    plan = io.StringIO()
    call_command("makemigrations", "fleet", dry_run=True, verbosity=1, stdout=plan)
    call_command("migrate", verbosity=0)
    with connection.schema_editor() as editor:
        editor.add_field(Reading, apps.get_model("fleet", "Reading")._meta.get_field(NEW.name))

    from tests.factories import UnitFactory

    return {
        "plan": plan.getvalue(),
        "log": VOCABULARY.quantities["drain_pressure"],
        "sent": sorted(NewReadingSerializer().fields),
        "answered": sorted(ReadingSerializer().fields),
        **_sent(UnitFactory()),
    }


def _sent(unit: Any) -> dict[str, Any]:
    from datetime import timedelta

    from django.utils import timezone

    from accounts.errors import InvalidInput
    from accounts.models import Membership
    from fleet.api.readings import ReadingSerializer
    from fleet.intake.payloads import take_reading

    company, now = unit.site.client.company, timezone.now()
    send: dict[str, Any] = {"company": company, "by": None, "source": "installer", "now": now}
    for days in (3, 2, 1):
        at = (now - timedelta(days=days)).isoformat()
        take_reading(row={"unit": unit.code, "taken_at": at, "drain_pressure": "0.06 bar"}, **send)
    reading, _ = take_reading(row={"unit": unit.code, "drain_pressure": "0.6 bar"}, **send)
    reading.refresh_from_db()
    try:
        take_reading(row={"unit": unit.code, "drain_pressure": "3 bar"}, **send)
    except InvalidInput as error:
        refused = str(error.faults[0].sentence)
    office = Membership(company=company, role=Membership.Role.OFFICE)
    answer = ReadingSerializer(reading, context={"membership": office, "unit_system": "metric"}).data
    return {
        "value": getattr(reading, NEW.name),
        "flags": [flag["code"] for flag in reading.flags],
        "refused": refused,
        "answer": answer["drain_pressure"],
    }


def described() -> dict[str, Any]:
    """What the description of the API and the nomenclature say."""
    from drf_spectacular.generators import SchemaGenerator

    from fleet.management.commands.nomenclature import table

    schemas = SchemaGenerator().get_schema(request=None, public=True)["components"]["schemas"]
    return {
        "schemas": sorted(name for name, about in schemas.items() if "drain_pressure" in about.get("properties", {})),
        "nomenclature": table(),
    }


def forecast() -> dict[str, Any]:
    """What the file door reads, and what the screen of the forecast leaves out."""
    import numpy as np

    from fleet.forecasting import build_fleet
    from fleet.forecasting.files.guide_text import guide_text
    from fleet.forecasting.inputs import vocabulary as words
    from fleet.forecasting.inputs.screen import screen
    from tests.fleet.forecasting.fleets import NOW, columns, readings

    days = NOW - 90.0 + 10.0 * np.arange(9)
    values = [20.0, 20.0, 200.1, 20.0, 40.0, 20.0, 20.0, 20.0, 20.0]
    table = readings(days, drain_pressure_kpa=values)
    table["state"] = ["static"] + ["flowing"] * 8
    table["minutes_since_start"] = [10.0] * 8 + [4.9]
    fleet, faults = build_fleet(**columns(), readings=table)
    left_out = screen(fleet).exclusions
    return {
        "guide": guide_text(),
        "faults": [fault.message for fault in faults],
        "left_out": sorted(
            [int(row), words.QUANTITIES[quantity], words.EXCLUSION_REASONS[reason]]
            for row, quantity, reason in zip(left_out.reading_index, left_out.quantity, left_out.reason, strict=True)
        ),
    }


def engineering() -> dict[str, Any]:
    """Whether the indicators and the diagnosis take it."""
    from fleet.engineering.diagnosis import CONTEXT_KEYS, diagnose
    from fleet.engineering.indicators import indicators
    from fleet.engineering.indicators.uncertainty import METERS
    from fleet.services.findings.facts import _READING_FACTS

    return {
        "rows": len(indicators({NEW.name: [20.0, 300.0]})),
        "fact": CONTEXT_KEYS[NEW.name],
        "patterns": len(diagnose({NEW.name: 20.0})),
        "is_read_for_findings": NEW.name in _READING_FACTS,
        "meter": METERS[NEW.name].resolution,
    }


if __name__ == "__main__":
    quantities.READING_QUANTITIES = (*quantities.READING_QUANTITIES, NEW)  # type: ignore[misc]
    import django

    django.setup()
    print(json.dumps(stored() | described() | forecast() | engineering()))
