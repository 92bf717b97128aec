"""A flow that fell when the carbon was changed is no scale, however hard the water."""

from datetime import UTC, datetime, timedelta

import pytest

from accounts.models import Company
from fleet.models import Finding, Unit
from fleet.services.findings.findings import refresh_findings
from tests import factories

BEGUN = datetime(2025, 1, 10, tzinfo=UTC)
CHANGED = 180
BEFORE = ((5, 200.0), (35, 200.0), (65, 200.0), (95, 200.0), (125, 200.0), (155, 200.0))


@pytest.fixture
def unit(company: Company) -> Unit:
    """A unit on hard water whose carbon was changed after half a year."""
    unit = factories.UnitFactory(company=company, commissioned_on=BEGUN.date(), tank="open")
    for stage in ("sediment", "carbon", "membrane"):
        item = factories.CatalogueItemFactory(company=company, kind=stage)
        position = factories.PositionFactory(unit=unit, stage=stage, role="single")
        changed = BEGUN + timedelta(days=CHANGED, hours=10) if stage == "carbon" else None
        factories.PlacementFactory(
            position=position, item=item, placed_at=BEGUN, removed_at=changed, removal="routine" if changed else ""
        )
        if changed:
            factories.PlacementFactory(position=position, item=item, placed_at=changed)
    factories.FeedWaterSampleFactory(
        site=unit.site, taken_at=BEGUN, ph=7.6, tds_mg_per_l=250.0, hardness_mg_per_l_as_caco3=280.0,
        alkalinity_mg_per_l_as_caco3=220.0,
    )  # fmt: skip
    return unit


def read(unit: Unit, days: float, flow: float, occasion: str = "routine") -> None:
    factories.ReadingFactory(
        unit=unit, taken_at=BEGUN + timedelta(days=days, hours=10), state="flowing", occasion=occasion,
        inlet_pressure_kpa=400.0, temperature_degc=15.0, feed_tds_mg_per_l=250.0,
        permeate_tds_mg_per_l=10.0 * 200.0 / flow, permeate_flow_l_per_day=flow, concentrate_flow_l_per_day=900.0,
        line_pressure_kpa=None, prefilter_outlet_pressure_kpa=None, interstage_tds_mg_per_l=None,
        product_tds_mg_per_l=None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("since", "cause"),
    [
        # found as ever and left with half of it, read again after a month
        (((CHANGED, 200.0, "as_found"), (CHANGED, 100.0, "as_left"), (210, 100.0, "routine")), "carbon_fines"),
        # sound when the carbon was new: what went on growing since is scale
        (((CHANGED + 1, 186.0, "routine"), (210, 133.0, "routine"), (240, 126.0, "routine"), (270, 120.0, "routine")),
         "membrane_scaling"),
        # half of it was gone before the carbon was changed
        (((170, 106.0, "routine"), (175, 103.0, "routine"), (CHANGED, 100.0, "as_found"), (CHANGED, 100.0, "as_left"),
          (210, 100.0, "routine")), "membrane_scaling"),
        # it sank from visit to visit, before the change and after it
        (((100, 170.0, "routine"), (130, 150.0, "routine"), (160, 135.0, "routine"), (CHANGED + 5, 120.0, "routine"),
          (210, 110.0, "routine")), "membrane_scaling"),
        # nobody looked until months after the change
        (((CHANGED + 50, 100.0, "routine"), (240, 100.0, "routine"), (270, 100.0, "routine")), "membrane_scaling"),
    ],
)  # fmt: skip
def test_fines_come_with_the_new_carbon(unit: Unit, since: tuple[tuple[float, float, str], ...], cause: str) -> None:
    before = BEFORE if since[0][0] >= CHANGED else BEFORE[:3]
    for days, flow, occasion in (*((*look, "routine") for look in before), *since):
        read(unit, days, flow, occasion)
    refresh_findings(company=unit.company, now=BEGUN + timedelta(days=since[-1][0], hours=20))
    open_now = set(Finding.objects.filter(unit=unit, state="open").values_list("cause", flat=True))
    assert {"carbon_fines", "membrane_scaling"} & open_now == {cause}
    assert cause != "carbon_fines" or "biofouling" not in open_now
