"""A night that looks at units with news alone leaves the rows that a night which looks at all of them leaves.

Rows are changed behind the back of the services here, so that nothing is announced: a look must see by itself that
something is new. After each change, and each span of days, the steps of a whole night find nothing more to do.
"""

import random
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from accounts.models import Company
from fleet.models import (
    CatalogueItem,
    ExhaustionLimits,
    FeedWaterSample,
    Finding,
    Forecast,
    Instrument,
    Placement,
    Position,
    Reading,
    ReadingIndicators,
    Site,
    Unit,
    UnitReview,
)
from fleet.services import known
from fleet.services.findings.findings import refresh_findings
from fleet.services.readings.indicators import recompute
from fleet.services.reviews import Review
from tests import factories

NIGHT = datetime(2026, 3, 10, 1, 15, tzinfo=UTC)
TRAIN = (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag"))
GAUGES: dict[str, Any] = {
    "inlet_pressure_kpa": 400.0,
    "line_pressure_kpa": 420.0,
    "prefilter_outlet_pressure_kpa": 405.0,
    "temperature_degc": 20.0,
    "feed_tds_mg_per_l": 300.0,
    "permeate_tds_mg_per_l": 10.0,
    "interstage_tds_mg_per_l": 0.0,
    "product_tds_mg_per_l": 0.0,
    "permeate_flow_l_per_day": 200.0,
    "concentrate_flow_l_per_day": 800.0,
    "state": "flowing",
    "sampled_after_flush": True,
}
FAULTS: tuple[dict[str, Any], ...] = (
    {},
    {},
    {"interstage_tds_mg_per_l": 10.0, "product_tds_mg_per_l": 10.0},
    {"permeate_flow_l_per_day": 90.0, "temperature_degc": 6.0},
    {"permeate_tds_mg_per_l": 60.0},
    {"prefilter_outlet_pressure_kpa": 300.0, "inlet_pressure_kpa": 290.0},
    {"concentrate_flow_l_per_day": 1900.0},
    {"carbon_outlet_total_chlorine_mg_per_l": 0.6},
    {"feed_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 280.0},
    {"observations": {"leak": True}},
)


class World:
    """A small company, what may happen to it, and its clock."""

    def __init__(self, company: Company, seed: int) -> None:
        self.company, self.now, self.random = company, NIGHT, random.Random(seed)
        self.units = [self._built(number) for number in range(4)]

    def _built(self, number: int) -> Unit:
        unit: Unit = factories.UnitFactory(
            company=self.company, code=f"U{number}", commissioned_on=date(2025, 6, 2), weekly_demand_l=60.0
        )
        factories.FeedWaterSampleFactory(
            site=unit.site,
            taken_at=NIGHT - timedelta(days=200),
            ph=7.8,
            hardness_mg_per_l_as_caco3=200.0,
            alkalinity_mg_per_l_as_caco3=160.0,
        )
        for order, (stage, role) in enumerate(TRAIN, start=1):
            item = factories.CatalogueItemFactory(company=self.company, kind=stage)
            place = factories.PositionFactory(unit=unit, order=10 * order, stage=stage, role=role)
            factories.PlacementFactory(position=place, item=item, placed_at=datetime(2025, 10, 1, tzinfo=UTC))
        for week in range(1, 22, number + 1):
            self.read(unit, datetime(2025, 10, 1, 9, tzinfo=UTC) + timedelta(days=7 * week))
        return unit

    def read(self, unit: Unit, at: datetime, **fields: Any) -> Reading:
        noisy = {
            name: value * self.random.uniform(0.97, 1.03) if isinstance(value, float) else value
            for name, value in (GAUGES | self.random.choice(FAULTS)).items()
        }
        reading: Reading = factories.ReadingFactory(unit=unit, taken_at=at, received_at=at, **(noisy | fields))
        return reading

    def any_of(self, rows: Any) -> Any:
        return self.random.choice(list(rows.order_by("pk")))

    @property
    def unit(self) -> Unit:
        return self.random.choice(self.units)

    def night(self, review: Review | None) -> dict[str, int]:
        """What the steps changed."""
        indicators = recompute(company=self.company, now=self.now, review=review)
        findings = refresh_findings(company=self.company, now=self.now, review=review)
        return {"indicators": indicators["changed"]} | {
            name: findings[name] for name in ("opened", "refreshed", "closed")
        }


def reading_comes(world: World) -> None:
    world.read(world.unit, world.now - timedelta(hours=world.random.randint(1, 300)))


def reading_of_a_clock_ahead(world: World) -> None:
    world.read(world.unit, world.now + timedelta(hours=world.random.randint(1, 72)))


def reading_corrected(world: World) -> None:
    wrong = world.any_of(Reading.objects.current())
    world.read(wrong.unit, wrong.taken_at, corrects=wrong)


def reading_voided(world: World) -> None:
    Reading.objects.filter(pk=world.any_of(Reading.objects.current()).pk).update(voided_at=world.now)


def one_reading_for_another(world: World) -> None:
    """As many as before."""
    newest = Reading.objects.current().filter(unit=world.unit).latest("taken_at")
    world.read(newest.unit, newest.taken_at + timedelta(hours=1))
    Reading.objects.filter(pk=newest.pk).update(voided_at=world.now)


def cartridge_replaced(world: World) -> None:
    old = world.any_of(Placement.objects.filter(removed_at__isnull=True))
    at = max(old.placed_at + timedelta(hours=1), world.now - timedelta(days=world.random.randint(0, 60)))
    Placement.objects.filter(pk=old.pk).update(removed_at=at, removal="early")
    factories.PlacementFactory(position=old.position, item=old.item, placed_at=at)


def placement_moved(world: World) -> None:
    row = world.any_of(Placement.objects.all())
    Placement.objects.filter(pk=row.pk).update(placed_at=row.placed_at - timedelta(days=world.random.randint(1, 40)))


def placement_voided(world: World) -> None:
    row = world.any_of(Placement.objects.all())
    Placement.objects.filter(pk=row.pk).update(voided_at=world.now)


def position_added(world: World) -> None:
    factories.PositionFactory(unit=world.unit, order=world.random.randint(61, 30000), stage="sediment", role="single")


def sample_comes(world: World) -> None:
    factories.FeedWaterSampleFactory(
        site=world.unit.site, taken_at=world.now, ph=8.2, hardness_mg_per_l_as_caco3=world.random.uniform(20, 500)
    )


def sample_voided(world: World) -> None:
    FeedWaterSample.objects.filter(pk=world.any_of(FeedWaterSample.objects.all()).pk).update(voided_at=world.now)


def limits_stated(world: World) -> None:
    ExhaustionLimits.objects.update_or_create(
        company=world.company,
        use="",
        defaults={"lead_resin_fraction": world.random.choice([0.2, 0.5, 0.9])},
    )


def unit_described(world: World) -> None:
    facts = world.random.choice(
        [
            {"has_booster_pump": True},
            {"weekly_demand_l": world.random.uniform(20.0, 600.0)},
            {"design_recovery_fraction": 0.4},
            {"product_tds_target_mg_per_l": world.random.choice([0.5, 5.0, 50.0])},
            {"tank": "pressurised"},
            {"restrictor_flow_l_per_day": 500.0, "restrictor_pressure_kpa": 400.0},
        ]
    )
    Unit.objects.filter(pk=world.unit.pk).update(**facts)


def supply_disinfected_otherwise(world: World) -> None:
    Site.objects.filter(pk=world.unit.site_id).update(chloraminated=True)


def label_corrected(world: World) -> None:
    items = CatalogueItem.objects.filter(kind="membrane")
    items.filter(pk=world.any_of(items).pk).update(rated_flow_l_per_day=world.random.uniform(150.0, 600.0))


def meter_fitted(world: World) -> None:
    factories.InstrumentFactory(company=world.company, unit=world.unit, name=f"M{Instrument.objects.count()}")


def decided(world: World) -> None:
    rows = Finding.objects.filter(state="open")
    if rows.exists():
        rows.filter(pk=world.any_of(rows).pk).update(state=world.random.choice(["confirmed", "dismissed"]))


def finding_closed_by_hand(world: World) -> None:
    rows = Finding.objects.filter(state__in=["open", "confirmed"])
    if rows.exists():
        rows.filter(pk=world.any_of(rows).pk).update(state="closed", closed_at=world.now)


def lag_forecast(world: World) -> None:
    lag = Position.objects.filter(unit=world.unit, stage="resin", role="lag").first()
    fitted = lag.placements.filter(removed_at__isnull=True).first() if lag else None
    if fitted is not None:
        Forecast.objects.filter(position=lag).delete()
        state = world.random.choice(["exhausted", "installed"])
        factories.ForecastFactory(position=lag, placement=fitted, state=state, as_of=world.now.date())


def out_of_use_and_back(world: World) -> None:
    unit = world.unit
    day = world.now.date() + timedelta(days=world.random.randint(0, 3))
    now_set = Unit.objects.get(pk=unit.pk).retired_on
    Unit.objects.filter(pk=unit.pk).update(retired_on=None if now_set else day)


def nothing(world: World) -> None:
    """Only days pass."""


EDITS: tuple[Callable[[World], None], ...] = (
    reading_comes,
    reading_of_a_clock_ahead,
    reading_corrected,
    reading_voided,
    one_reading_for_another,
    cartridge_replaced,
    placement_moved,
    placement_voided,
    position_added,
    sample_comes,
    sample_voided,
    limits_stated,
    unit_described,
    supply_disinfected_otherwise,
    label_corrected,
    meter_fitted,
    decided,
    finding_closed_by_hand,
    lag_forecast,
    out_of_use_and_back,
    nothing,
    nothing,
)
DAYS = (0, 1, 1, 1, 2, 7, 16, 29, 31, 60, 89, 121)


def rows() -> list[list[dict[str, Any]]]:
    return [list(model._default_manager.order_by("pk").values()) for model in (Finding, ReadingIndicators)]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.served
def test_looking_at_news_alone_leaves_what_looking_at_everything_leaves(company: Company, seed: int) -> None:
    world = World(company, seed)
    world.night(Review(company))
    edits = list(EDITS)
    world.random.shuffle(edits)
    happened: list[str] = []
    for edit in edits:
        edit(world)
        days = world.random.choice(DAYS)
        world.now += timedelta(days=days, minutes=world.random.randint(0, 600))
        happened += [edit.__name__, f"{days} d"]
        world.night(Review(company))
        left = rows()
        assert world.night(None) == {"indicators": 0, "opened": 0, "refreshed": 0, "closed": 0}, happened
        assert rows() == left, happened
    assert Finding.objects.count() > 4


def test_a_quiet_night_looks_at_nobody_and_all_are_looked_at_when_asked_to(company: Company) -> None:
    world = World(company, 7)
    world.night(Review(company))
    world.now += timedelta(hours=3)
    tonight: dict[str, Any] = {"company": company, "now": world.now}
    assert recompute(**tonight, review=Review(company))["readings"] == 0
    assert refresh_findings(**tonight, review=Review(company))["units"] == 0
    reading_comes(world)
    assert refresh_findings(**tonight, review=Review(company))["units"] == 1
    assert refresh_findings(**tonight, review=Review(company, at_all=True))["units"] == 4
    assert recompute(**tonight, review=Review(company, at_all=True))["readings"] == Reading.objects.current().count()
    assert UnitReview.objects.count() == 4


def test_what_no_reading_tells_is_news_too(company: Company) -> None:
    world = World(company, 7)
    unit = world.units[0]

    def looked_at() -> int:
        return refresh_findings(company=company, now=world.now, review=Review(company))["units"]

    looked_at()
    lag = Position.objects.get(unit=unit, stage="resin", role="lag")
    factories.ForecastFactory(position=lag, placement=lag.placements.get(), state="exhausted")
    assert (looked_at(), looked_at()) == (1, 0)
    Finding.objects.filter(pk=factories.FindingFactory(unit=unit).pk).update(state="dismissed")
    assert (looked_at(), looked_at()) == (1, 0)


def test_a_reading_of_a_clock_ahead_is_looked_at_when_its_moment_has_come(company: Company) -> None:
    world = World(company, 7)
    ahead = world.now + timedelta(hours=30)
    factories.ReadingFactory(unit=world.units[1], taken_at=ahead, received_at=world.now, **GAUGES)
    looked = []
    for _ in range(3):
        looked.append(refresh_findings(company=company, now=world.now, review=Review(company))["units"])
        world.now += timedelta(hours=24)
    assert looked == [4, 0, 1]


def test_another_release_looks_at_every_unit_again(company: Company, monkeypatch: pytest.MonkeyPatch) -> None:
    world = World(company, 7)
    world.night(Review(company))
    monkeypatch.setattr(known, "release", lambda: "the next one")
    assert refresh_findings(company=company, now=world.now, review=Review(company))["units"] == 4


def read_each_week(world: World) -> Unit:
    """A unit whose membrane is 160 days old and that was always found in order."""
    unit = world.units[0]
    Reading.objects.filter(unit=unit).delete()
    Placement.objects.filter(position__unit=unit).update(placed_at=NIGHT - timedelta(days=160))
    for days in range(155, 0, -7):
        # of late without the drain's flow, so that older readings have the say in what it tells
        drain = {"concentrate_flow_l_per_day": None} if days < 28 else {}
        factories.ReadingFactory(unit=unit, taken_at=NIGHT - timedelta(days=days), **(GAUGES | drain))
    return unit


@pytest.mark.parametrize(
    ("days_ago", "shown"),
    [
        (118, {"carbon_outlet_total_chlorine_mg_per_l": 0.6}),
        (28, GAUGES | {"temperature_degc": 5.0, "permeate_flow_l_per_day": 120.0}),
    ],
    ids=["too old to count", "another season"],
)
def test_a_reading_loses_its_say_in_a_unit_without_news(company: Company, days_ago: int, shown: dict[str, Any]) -> None:
    world = World(company, 5)
    unit = read_each_week(world)
    at = NIGHT - timedelta(days=days_ago) + timedelta(hours=1)
    reading = factories.ReadingFactory(unit=unit, taken_at=at, **shown)
    world.night(Review(company))
    assert Finding.objects.filter(reading=reading, state="open").exists()
    seen = []
    for _ in range(4):
        world.now += timedelta(days=1)
        counts = refresh_findings(company=company, now=world.now, units=[unit.pk], review=Review(company))
        seen.append((counts["units"], counts["closed"]))
    assert seen == [(0, 0), (0, 0), (1, 1), (0, 0)]


def test_time_alone_brings_a_look_when_it_may_change_something_and_not_each_night(company: Company) -> None:
    world = World(company, 3)
    world.night(Review(company))
    looked = 0
    for _ in range(50):
        world.now += timedelta(days=3)
        looked += refresh_findings(company=company, now=world.now, review=Review(company))["units"]
    assert 0 < looked < 0.6 * 4 * 50
    assert world.night(None) == {"indicators": 0, "opened": 0, "refreshed": 0, "closed": 0}
