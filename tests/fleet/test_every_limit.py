"""Every limit, tightened over the API, moves the forecast, the finding and the status of a unit, or it is said why not.

A field that nobody reads, and one without a row in these tables, fails.
"""

import ast
from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.engineering.limits import Limits
from fleet.models import ExhaustionLimits, Forecast, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.forecasts.forecasts import forecast_company
from fleet.services.readings.indicators import recompute
from tests import factories

ROOT: Final = Path(__file__).parents[2]
LIMITS: Final = "/api/v1/exhaustion-limits/"
FIELDS: Final = [one.name for one in fields(Limits)]

FLOWING: Final[dict[str, Any]] = {
    "line_pressure_kpa": 450.0,
    "prefilter_outlet_pressure_kpa": 430.0,
    "inlet_pressure_kpa": 430.0,
    "temperature_degc": 20.0,
    "feed_tds_mg_per_l": 240.0,
    "permeate_tds_mg_per_l": 10.0,
    "product_tds_mg_per_l": 0.0,
    "permeate_flow_l_per_day": 200.0,
    "concentrate_flow_l_per_day": 800.0,
    "minutes_since_start": 15.0,
    "sampled_after_flush": True,
    "state": "flowing",
}
"""A reading of a unit that is well."""


Stated = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """One limit: what is stated over the API, what is read between the usual limit and that one, and what follows.

    `position` is the stage and role whose date moves. `cause` is that of the finding that opens; where there is none
    `no_finding` says why. `at_last` is read in the last two weeks. `water` is the verdict of the status afterwards.
    What is `of_unit` is stated for the unit and not for the company.
    """

    stated: Stated
    position: str
    cause: str = ""
    at_last: Stated = field(default_factory=dict)
    water: str = "good"
    of_unit: bool = False
    no_finding: str = ""


MORE_SALT: Final[Stated] = {"product_tds_mg_per_l": 1.6}

ROWS: Final[dict[str, list[Row]]] = {
    "product_tds_mg_per_l": [
        Row({"product_tds": "0.5 ppm"}, "resin lag", "di_both_exhausted", MORE_SALT, "not_good"),
        Row({"product_tds": "0.5 ppm", "use": "reef"}, "resin lag", "di_both_exhausted", MORE_SALT, "not_good"),
        Row({"product_tds_target": "0.5 ppm"}, "resin lag", "di_both_exhausted", MORE_SALT, "not_good", of_unit=True),
    ],
    "lead_resin_fraction": [
        Row({"lead_resin_fraction": 0.2}, "resin lead", "di_lead_exhausted", {"interstage_tds_mg_per_l": 5.0})
    ],
    "chlorine_mg_per_l": [
        Row(
            {"chlorine": "0.03 mg/L"},
            "carbon lag",
            "carbon_exhausted",
            {"carbon_outlet_total_chlorine_mg_per_l": 0.06, "feed_total_chlorine_mg_per_l": 1.0},
            "not_good",
        )
    ],
    "lead_carbon_fraction": [
        Row(
            {"lead_carbon_fraction": 0.1},
            "carbon lead",
            "lead_carbon_exhausted",
            {"interstage_chlorine_mg_per_l": 0.3, "feed_total_chlorine_mg_per_l": 1.0},
        )
    ],
    "carbon_maximum_service_time_days": [
        Row(
            {"carbon_maximum_service_time_days": 90},
            "carbon lead",
            no_finding="It is a date and no sign of anything in the readings; the forecast says it.",
        )
    ],
    "membrane_flow_fraction": [
        Row({"membrane_flow_fraction": 0.95}, "membrane single", "biofouling", {"permeate_flow_l_per_day": 172.0})
    ],
    "minimum_rejection_fraction": [
        Row({"minimum_rejection_fraction": 0.97}, "membrane single", "membrane_rejection_low"),
        Row({"minimum_rejection_fraction": 0.97, "use": "reef"}, "membrane single", "membrane_rejection_low"),
    ],
    "prefilter_differential_pressure_kpa": [
        Row(
            {"prefilter_differential_pressure": "0.28 bar"},
            "sediment single",
            "prefilter_clogged",
            {"prefilter_outlet_pressure_kpa": 402.0, "inlet_pressure_kpa": 402.0},
        )
    ],
}

_OF_THE_PREFILTER: Final = (
    "How the limit of a sediment filter follows the pressure behind it: of the house alone. Who wants to be stricter "
    "states the differential pressure over the prefilters, which is never exceeded whatever these are."
)
OF_THE_HOUSE_ALONE: Final[dict[str, str]] = {
    "prefilter_outlet_fraction": _OF_THE_PREFILTER,
    "prefilter_margin_kpa": _OF_THE_PREFILTER,
    "prefilter_margin_from_kpa": _OF_THE_PREFILTER,
    "prefilter_least_kpa": _OF_THE_PREFILTER,
    "prefilter_series_fraction": _OF_THE_PREFILTER,
}
"""Why a limit cannot be changed over the API."""


def test_every_limit_has_a_row() -> None:
    assert sorted([*ROWS, *OF_THE_HOUSE_ALONE]) == sorted(FIELDS)
    assert set(ROWS) == set(ExhaustionLimits.RANGES)
    for row in (row for rows in ROWS.values() for row in rows):
        assert bool(row.cause) != bool(row.no_finding)


def read_in(source: str) -> set[str]:
    """Names that a text reads of limits; not those that it defines, lists or reads of something else."""
    return {
        node.attr
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Attribute)
        and isinstance(node.ctx, ast.Load)
        and ast.unparse(node.value).rpartition(".")[2] in ("limits", "of_units", "own")
    }


def test_only_what_is_read_of_limits_counts() -> None:
    assert read_in("f.limits.one + limits.two[0]; readings.three; limits.four = 5") == {"one", "two"}


def readers(room: str) -> set[str]:
    names_read: set[str] = set()
    for path in sorted((ROOT / room).rglob("*.py")):
        names_read |= read_in(path.read_text(encoding="utf-8"))
    return names_read


def test_every_limit_is_read_by_the_forecast_and_by_the_diagnosis() -> None:
    """The rule of the prefilters is one method of `Limits`, which both call."""
    own = (ROOT / "fleet/engineering/limits.py").read_text(encoding="utf-8")
    method = next(
        node
        for node in ast.walk(ast.parse(own))
        if isinstance(node, ast.FunctionDef) and node.name == "prefilter_limit_kpa"
    )
    of_method = read_in(ast.unparse(method))
    for room in ("fleet/forecasting", "fleet/engineering/diagnosis"):
        reads = readers(room)
        assert "prefilter_limit_kpa" in reads
        not_seen = {name for name, rows in ROWS.items() if all(row.no_finding for row in rows)}
        wanted = set(FIELDS) - (not_seen if room.endswith("diagnosis") else set())
        assert wanted <= reads | of_method, room


@pytest.fixture
def now() -> datetime:
    return timezone.now()


def make_unit(company: Company, now: datetime, row: Row) -> Unit:
    """A unit with two carbons and two resins, read once a week for ten weeks."""
    unit: Unit = factories.UnitFactory(
        company=company, use="reef", product_tds_target_mg_per_l=8.0, commissioned_on=(now - timedelta(days=100)).date()
    )
    train = (
        ("sediment", "single"), ("carbon", "lead"), ("carbon", "lag"), ("membrane", "single"),
        ("resin", "lead"), ("resin", "lag"),
    )  # fmt: skip
    for order, (stage, role) in enumerate(train, start=1):
        position = factories.PositionFactory(unit=unit, order=order, stage=stage, role=role)
        item = factories.CatalogueItemFactory(company=company, kind=stage, maximum_service_time_days=None)
        factories.PlacementFactory(position=position, item=item, placed_at=now - timedelta(days=100))
    for week in range(10):
        extra = row.at_last if week >= 8 else {}
        taken_at = now - timedelta(days=2 + 7 * (9 - week))
        factories.ReadingFactory(unit=unit, taken_at=taken_at, **(FLOWING | extra))
    return unit


def answers(client: APIClient, unit: Unit) -> dict[str, Any]:
    address = f"/api/v1/units/{unit.pk}/"
    findings = client.get(f"{address}findings/").json()["findings"]
    return {"status": client.get(f"{address}status/").json(), "causes": {one["cause"] for one in findings}}


def dates(unit: Unit) -> dict[str, date]:
    rows = Forecast.objects.filter(position__unit=unit, is_latest=True).select_related("position")
    return {f"{row.position.stage} {row.position.role}": row.p50 for row in rows if row.p50 is not None}


def cases() -> Iterable[Any]:
    for name, rows in ROWS.items():
        for row in rows:
            whose = "unit" if row.of_unit else row.stated.get("use", "company")
            yield pytest.param(row, id=f"{name} of the {whose}")


@pytest.mark.parametrize("row", list(cases()))
def test_a_tighter_limit_moves_forecast_finding_and_status(
    row: Row,
    company: Company,
    now: datetime,
    as_owner: APIClient,
    django_capture_on_commit_callbacks: Any,
) -> None:
    unit = make_unit(company, now, row)
    recompute(company=company, now=now)
    forecast_company(company=company, now=now)
    refresh_findings(company=company, now=now)
    before, dates_before = answers(as_owner, unit), dates(unit)
    with django_capture_on_commit_callbacks(execute=True):
        if row.of_unit:
            answer = as_owner.patch(f"/api/v1/units/{unit.pk}/", row.stated)
        else:
            answer = as_owner.post(LIMITS, row.stated)
    assert answer.status_code in (200, 201), answer.content
    after, dates_after = answers(as_owner, unit), dates(unit)
    assert dates_after[row.position] < dates_before[row.position]
    opened = after["causes"] - before["causes"]
    assert (row.cause in opened) if row.cause else not opened
    assert before["status"]["water"] == "good"
    assert after["status"]["water"] == row.water
    told = ("sentence", "findings", "next_change")
    assert [after["status"][name] for name in told] != [before["status"][name] for name in told]
    if row.cause:
        assert set(after["status"]["findings"]) - set(before["status"]["findings"])
