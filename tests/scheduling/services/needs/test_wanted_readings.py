"""Readings that are wanted: on the list, on the next visit, never a reason to be sent without one."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from accounts.models import Membership
from fleet.forecasting import GRID_LEVELS
from fleet.models import CatalogueItem, Instrument, Reading, Unit
from fleet.services.forecasts.forecasts import refresh_forecasts
from fleet.services.forecasts.rows import TENTHS
from scheduling.models import CompanyPolicy, Need, PartsLine, Visit, VisitAddition
from scheduling.planning.needs.from_gauges import WHAT_IS_SEEN
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.visits.visits import confirm_visit, propose_visits
from tests.scheduling.night import run_night
from tests.scheduling.town import LONG_AGO, NOW, RO_DI_TRAIN, TODAY, TRAIN, Town

SALT_PASSAGE = ["feed_tds_mg_per_l", "permeate_tds_mg_per_l"]


def night(town: Town, now: Any = NOW) -> None:
    refresh_needs(company=town.company, now=now)
    propose_visits(company=town.company, now=now)


def set_policy(town: Town, **settings: Any) -> None:
    policy, _ = CompanyPolicy.objects.get_or_create(company=town.company)
    policy.settings |= settings
    policy.save()


def doubtful_membrane(town: Town, unit: Unit) -> None:
    """Dear, exhausted anywhere between 240 days ago and 360 days from now, and to be replaced from 50 % on."""
    set_policy(town, membrane_probability=0.5)
    position = town.position(unit, "membrane")
    town.item("membrane")
    CatalogueItem.objects.filter(kind="membrane").update(price="400.00")
    old = LONG_AGO - timedelta(days=800)
    position.placements.update(placed_at=old, first_installed_at=old)
    grid = [int(TENTHS * (60.0 + 600.0 * (level - 0.5))) for level in GRID_LEVELS]
    days = {"p05": -210, "p10": -180, "p25": -90, "p50": 60, "p75": 210, "p90": 300, "p95": 330}
    dates = {name: TODAY + timedelta(days=day) for name, day in days.items()}
    assert np.all(np.diff(grid) >= 0)
    town.forecast(position, 60, date_grid=grid, remaining_share=0.2, **dates)


def fitted(town: Town, unit: Unit, *measures: str) -> Instrument:
    return Instrument.objects.create(
        company=town.company, unit=unit, name=f"Inline {unit.code}", measures=list(measures or SALT_PASSAGE)
    )


def wanted() -> Need:
    return Need.objects.exclude(reading_way="").get(state="open")


def test_the_client_is_asked_and_nobody_comes_for_it(town: Town) -> None:
    unit = town.unit()
    doubtful_membrane(town, unit)
    fitted(town, unit)
    night(town)
    need = wanted()
    assert (need.kind, need.reading_way, need.reads) == ("take_reading", "ask_client", SALT_PASSAGE)
    assert need.reading_of == town.position(unit, "membrane")
    assert need.reading_saves > need.reading_price == 2.0
    assert need.reason.startswith("Ask the client to read feed TDS, permeate TDS.")
    assert "waste and lateness" not in need.reason
    # only the membrane brings somebody, weeks from now
    assert [task.need.kind for task in Visit.objects.get().tasks.all()] == ["replace"]
    assert Visit.objects.get().earliest_day > TODAY + timedelta(days=28)


def test_what_the_client_is_asked_for_is_on_no_visit_and_takes_no_parts(town: Town) -> None:
    unit = town.unit()
    town.small_part("test strip", work="take_reading")
    # so dear on a visit that asking is better
    set_policy(town, task_minutes={"take_reading": 60}, client_answer_share=1.0)
    doubtful_membrane(town, unit)
    fitted(town, unit)
    town.forecast(town.position(unit, "carbon"), 0)
    run_night(town)
    assert wanted().reading_way == "ask_client"
    assert [task.need.kind for task in Visit.objects.get().tasks.all()] == ["replace"]
    assert "test strip" not in set(PartsLine.objects.values_list("item__code", flat=True))


def test_whoever_comes_next_reads_first(town: Town) -> None:
    unit = town.unit()
    doubtful_membrane(town, unit)
    town.forecast(town.position(unit, "carbon"), 0)
    night(town)
    assert wanted().reading_way == "next_visit"
    tasks = list(Visit.objects.get().tasks.all())
    assert [task.need.kind for task in tasks] == ["take_reading", "replace"]
    assert tasks[0].reason.startswith("Take a reading (feed TDS, permeate TDS)")
    assert "cheapest day" not in tasks[0].reason


def test_on_a_confirmed_visit_it_is_proposed_and_declined_once(town: Town, office: Membership) -> None:
    unit = town.unit()
    town.installer("Ada")
    town.finding(unit, "shutoff_valve_fault")
    night(town)
    visit = confirm_visit(
        visit=Visit.objects.get(), by=office, appointment_at=NOW + timedelta(days=1, hours=4), now=NOW
    )
    doubtful_membrane(town, unit)
    for _ in range(2):
        night(town)
        (addition,) = VisitAddition.objects.all()
        assert (addition.visit, addition.need, addition.state) == (visit, wanted(), "proposed")
        assert addition.reason.startswith("Read feed TDS, permeate TDS at the next visit.")
    VisitAddition.objects.update(state="declined")
    night(town)
    assert not VisitAddition.objects.filter(state="proposed").exists()
    # it waits for the visit after that, which the membrane asks for
    assert [task.need.kind for task in Visit.objects.get(state="proposed").tasks.all()] == ["take_reading", "replace"]


def test_a_reading_that_comes_closes_it(town: Town) -> None:
    unit = town.unit()
    doubtful_membrane(town, unit)
    fitted(town, unit)
    night(town)
    need = wanted()
    again = refresh_needs(company=town.company, now=NOW + timedelta(hours=2))
    assert (again.opened, again.changed, again.dropped) == (0, 0, 0)
    town.read(unit, NOW, feed_tds_mg_per_l=200.0, permeate_tds_mg_per_l=9.0)
    night(town, NOW + timedelta(days=1))
    need.refresh_from_db()
    assert need.state == "dropped"
    assert not Need.objects.exclude(reading_way="").filter(state="open").exists()


def new_company(town: Town, *, oldest_days: int) -> None:
    """Twelve units that are taken over: what was fitted when, what the labels say, and not one reading."""
    town.installer("Ada")
    for number in range(12):
        train = RO_DI_TRAIN if number % 3 == 0 else TRAIN
        commissioned_on = TODAY - timedelta(days=100 + 30 * number)
        unit = town.unit(town.site(north_km=float(number)), train=train, commissioned_on=commissioned_on)
        placed_at = NOW - timedelta(days=2 + oldest_days * number // 11)
        for position in unit.positions.all():
            position.placements.update(placed_at=placed_at, first_installed_at=placed_at)
        if number % 2:
            fitted(town, unit)
    Reading.objects.all().delete()
    CatalogueItem.objects.filter(kind="sediment").update(rated_volume_l=20_000.0)
    refresh_forecasts(company=town.company, now=NOW)
    night(town)


def first_week() -> Any:
    return Visit.objects.filter(state="proposed", best_day__lt=TODAY + timedelta(days=7))


def test_a_new_company_gets_a_list_of_what_to_read_and_is_not_sent_to_every_client(town: Town) -> None:
    new_company(town, oldest_days=30)
    rows = Need.objects.exclude(reading_way="").filter(state="open")
    assert rows.values("unit").distinct().count() == Unit.objects.count() == 12
    seen = rows.filter(key__endswith=WHAT_IS_SEEN)
    assert (seen.count(), rows.exclude(key__endswith=WHAT_IS_SEEN).count()) == (6, 12), "half of them have no meter"
    assert {need.reading_way for need in seen} == {"ask_client"}
    # who has a meter is asked to read, unless an installer who reads more there before parts go is worth more
    with_meter = rows.exclude(key__endswith=WHAT_IS_SEEN).exclude(unit__in=seen.values("unit"))
    asked = with_meter.filter(reading_way="ask_client")
    assert (with_meter.count(), asked.count() > 0) == (6, True)
    assert all("saves about" in need.reason for need in with_meter.exclude(reading_way="ask_client"))
    assert all(need.reads and "It was never read" in need.reason for need in rows)
    # sent to all twelve at once, because they had been commissioned long ago, somebody would only have read them
    assert not Need.objects.filter(kind="inspect").exists()
    assert not first_week().exists()


def test_only_what_is_likely_exhausted_brings_somebody_to_a_new_client(town: Town) -> None:
    new_company(town, oldest_days=190)
    for visit in first_week():
        assert any(task.need.kind in ("replace", "rotate") for task in visit.tasks.all())
    assert first_week().count() < 12


@pytest.mark.parametrize(("days", "sent"), [(89, 0), (90, 12)])
def test_what_nobody_could_read_for_three_months_is_looked_over(town: Town, days: int, sent: int) -> None:
    new_company(town, oldest_days=30)
    refresh_needs(company=town.company, now=NOW + timedelta(days=days))
    assert Need.objects.filter(kind="inspect", state="open").count() == sent
