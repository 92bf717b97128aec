"""Without resin, too, water past the limit of the unit is a finding, and the status says the same."""

from datetime import UTC, datetime, timedelta

import pytest

from accounts.models import Company
from fleet.models import Finding, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.status import status_of
from tests import factories

BEGUN = datetime(2026, 1, 10, tzinfo=UTC)
NOW = BEGUN + timedelta(days=91)
LIMIT = 50.0


@pytest.fixture
def unit(company: Company) -> Unit:
    """A unit without resin whose water may carry 50 mg/L."""
    unit = factories.UnitFactory(
        company=company, commissioned_on=BEGUN.date(), kind="ro", use="planted", tank="open",
        product_tds_target_mg_per_l=LIMIT,
    )  # fmt: skip
    for stage in ("sediment", "carbon", "membrane"):
        item = factories.CatalogueItemFactory(company=company, kind=stage)
        position = factories.PositionFactory(unit=unit, stage=stage, role="single")
        factories.PlacementFactory(position=position, item=item, placed_at=BEGUN)
    return unit


@pytest.mark.parametrize(
    ("feed", "permeate", "product", "cause", "water"),
    [
        # a sound membrane on salty water
        (800.0, 51.0, None, "water_past_limit", "not_good"),
        (800.0, 50.0, None, None, "good"),
        (800.0, 40.0, 51.0, "water_past_limit", "not_good"),
        (800.0, 40.0, 50.0, None, "good"),
        (800.0, None, 51.0, "water_past_limit", "not_good"),
        # what people drink counts, where somebody read it there
        (800.0, 51.0, 45.0, None, "good"),
        # the membrane is the cause and has its finding
        (400.0, 60.0, None, "membrane_rejection_low", "not_good"),
        (400.0, 60.0, 60.0, "membrane_rejection_low", "not_good"),
    ],
)
def test_water_past_the_limit_always_opens_a_finding(
    unit: Unit, feed: float, permeate: float | None, product: float | None, cause: str | None, water: str
) -> None:
    factories.ReadingFactory(
        unit=unit, taken_at=NOW - timedelta(days=1), state="flowing", inlet_pressure_kpa=400.0, temperature_degc=15.0,
        feed_tds_mg_per_l=feed, permeate_tds_mg_per_l=permeate, product_tds_mg_per_l=product,
        permeate_flow_l_per_day=200.0, concentrate_flow_l_per_day=800.0, line_pressure_kpa=None,
        prefilter_outlet_pressure_kpa=None, interstage_tds_mg_per_l=None,
    )  # fmt: skip
    refresh_findings(company=unit.company, now=NOW)
    found = set(Finding.objects.filter(unit=unit, state="open").values_list("cause", flat=True))
    assert {"water_past_limit", "membrane_rejection_low"} & found == ({cause} if cause else set())
    status = status_of(unit=unit, now=NOW)
    assert (status.water, status.limit_mg_per_l) == (water, LIMIT)
    assert (status.measured, status.value_mg_per_l) == (
        ("permeate_tds", permeate) if product is None else ("product_tds", product)
    )
