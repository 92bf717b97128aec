"""Water that slips past a fresh resin, and a gauge that hangs while the water flows as ever."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from accounts.models import Company, Membership
from fleet.models import Finding, Position, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.units.placements import place
from tests import factories

BEGUN = datetime(2025, 9, 1, tzinfo=UTC)


@pytest.fixture
def unit(company: Company) -> Unit:
    """A unit with one resin, read each fortnight for ten weeks while all was well."""
    unit = factories.UnitFactory(company=company, commissioned_on=BEGUN.date(), tank="open")
    for stage in ("sediment", "carbon", "membrane", "resin"):
        item = factories.CatalogueItemFactory(company=company, kind=stage)
        position = factories.PositionFactory(unit=unit, stage=stage, role="single")
        factories.PlacementFactory(position=position, item=item, placed_at=BEGUN)
    for fortnight in range(5):
        read(unit, 3 + 14 * fortnight)
    return unit


def read(unit: Unit, days: float, **change: Any) -> None:
    values = {
        "inlet_pressure_kpa": 400.0, "feed_tds_mg_per_l": 230.0, "permeate_tds_mg_per_l": 11.0,
        "product_tds_mg_per_l": 0.0, "permeate_flow_l_per_day": 200.0, "concentrate_flow_l_per_day": 800.0,
        "line_pressure_kpa": None, "prefilter_outlet_pressure_kpa": None, "interstage_tds_mg_per_l": None,
        "temperature_degc": None, "state": "flowing",
    } | change  # fmt: skip
    factories.ReadingFactory(unit=unit, taken_at=BEGUN + timedelta(days=days, hours=12), **values)


def causes_on(unit: Unit, days: int) -> list[str]:
    refresh_findings(company=unit.company, now=BEGUN + timedelta(days=days, hours=20))
    found = Finding.objects.filter(unit=unit, state="open").order_by("-confidence", "pk")
    return list(found.values_list("cause", flat=True))


@pytest.mark.parametrize(("first", "then", "cause"), [(4.0, 4.0, "resin_channelling"), (0.0, 4.0, "di_both_exhausted")])
def test_a_resin_that_was_salty_when_fresh_is_not_exhausted_but_passed_by(
    unit: Unit, owner: Membership, first: float, then: float, cause: str
) -> None:
    position = Position.objects.get(unit=unit, stage="resin")
    item = position.placements.get().item
    at = BEGUN + timedelta(days=70)
    place(by=owner, position=position, item=item, placed_at=at, removal="routine", now=at)
    read(unit, 71, product_tds_mg_per_l=first)
    read(unit, 85, product_tds_mg_per_l=then)
    assert causes_on(unit, 85)[0] == cause
    assert len({"resin_channelling", "di_both_exhausted"} & set(causes_on(unit, 85))) == 1


@pytest.mark.parametrize(
    ("ages", "product", "cause"),
    [
        # Read late, and the same half as long afterwards: no bed is half exhausted for so long.
        ((23, 35), 5.0, "resin_channelling"),
        ((23, 34), 5.0, "di_both_exhausted"),  # not yet as long
        ((23, 50), 9.0, "di_both_exhausted"),  # nearly all of the permeate's 11
        ((70, 145), 5.0, "di_both_exhausted"),  # nobody knows what it was at first
    ],
)
def test_a_bed_first_read_late_is_passed_by_when_it_stands_still(
    unit: Unit, owner: Membership, ages: tuple[int, int], product: float, cause: str
) -> None:
    position = Position.objects.get(unit=unit, stage="resin")
    at = BEGUN + timedelta(days=70)
    item = position.placements.get().item
    place(by=owner, position=position, item=item, placed_at=at, removal="routine", now=at)
    for age in ages:
        read(unit, 70 + age, product_tds_mg_per_l=product)
    assert {"resin_channelling", "di_both_exhausted"} & set(causes_on(unit, 70 + ages[-1])) == {cause}


@pytest.mark.parametrize(
    ("behind_the_first", "limit", "read_since", "cause"),
    [
        # One step past the limit, where the same meter read nothing before: at once.
        ((0.0, 1.0, 0.0), 2.0, (3.0,), "resin_channelling"),
        # Where it read one step less already, the meter may say so, or the bed: not passed by.
        ((2.0, 2.0, 2.0), 2.0, (3.0, 3.0, 3.0), "di_both_exhausted"),
        # The first resin of all: at three visits, and not when one of them was good.
        ((), 2.0, (3.0, 3.0, 4.0), "resin_channelling"),
        ((), 2.0, (3.0, 3.0), "di_both_exhausted"),
        ((), 2.0, (3.0, 2.0, 3.0), "di_both_exhausted"),
        # It rises: the bed is used up, whatever it was at first.
        ((0.0, 0.0, 0.0), 2.0, (3.0, 4.0, 9.0), "di_both_exhausted"),
    ],
)
def test_one_step_past_the_limit_is_believed_when_more_than_one_reading_says_so(
    company: Company, owner: Membership, behind_the_first: tuple[float, ...], limit: float,
    read_since: tuple[float, ...], cause: str,
) -> None:  # fmt: skip
    unit = factories.UnitFactory(
        company=company, commissioned_on=BEGUN.date(), tank="open", product_tds_target_mg_per_l=limit
    )
    for stage in ("sediment", "carbon", "membrane", "resin"):
        position = factories.PositionFactory(unit=unit, stage=stage, role="single")
        item = factories.CatalogueItemFactory(company=company, kind=stage)
        factories.PlacementFactory(position=position, item=item, placed_at=BEGUN)
    for number, product in enumerate(behind_the_first):
        read(unit, 3 + 14 * number, product_tds_mg_per_l=product)
    changed = 14 * len(behind_the_first)
    if behind_the_first:
        at = BEGUN + timedelta(days=changed)
        place(by=owner, position=position, item=item, placed_at=at, removal="routine", now=at)
    for number, product in enumerate(read_since):
        read(unit, changed + 1 + 9 * number, product_tds_mg_per_l=product)
    last = changed + 1 + 9 * (len(read_since) - 1)
    assert {"resin_channelling", "di_both_exhausted"} & set(causes_on(unit, last)) == {cause}


def test_a_gauge_that_hangs_is_told_from_a_pressure_that_fell(unit: Unit) -> None:
    """60 kPa and 200 L/day cannot both be true; 60 kPa and 30 L/day can."""
    read(unit, 70, inlet_pressure_kpa=60.0)
    assert "pressure_gauge_fault" not in causes_on(unit, 70)  # once may be a slip of the pen
    read(unit, 80, inlet_pressure_kpa=60.0)
    assert causes_on(unit, 80)[0] == "pressure_gauge_fault"
    for days in (90, 95):
        read(unit, days, inlet_pressure_kpa=60.0, permeate_flow_l_per_day=30.0, concentrate_flow_l_per_day=120.0)
    assert "pressure_gauge_fault" not in causes_on(unit, 95)
