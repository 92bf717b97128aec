"""When a site can be entered, on usual dates and on others: what plans and appointments make of it."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from accounts.errors import InvalidInput
from accounts.models import Membership
from fleet.models import AccessException, Site
from fleet.services.units.access import access_of
from scheduling.models import Stop, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.visits.visits import confirm_visit, offer_visit, propose_visits
from tests.scheduling.town import NOW, TODAY, Town

BERLIN = ZoneInfo("Europe/Berlin")
WEDNESDAY = TODAY + timedelta(days=2)


@pytest.fixture
def site(town: Town) -> Site:
    """One site with an urgent visit and hours on Monday and Wednesday mornings."""
    town.installer("Ada")
    site = town.site(east_km=3.0)
    for weekday in (0, 2):
        town.window(site, weekday, time(8), time(12))
    town.forecast(town.position(town.unit(site), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    return site


def _except(site: Site, first: date, last: date | None = None, *hours: time) -> None:
    opens, closes = hours or (None, None)
    AccessException.objects.create(site=site, first_day=first, last_day=last or first, opens=opens, closes=closes)


def _start(town: Town) -> datetime:
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=50).plan
    return Stop.objects.get(round__plan=plan).starts_at.astimezone(BERLIN)


def test_a_closed_day_is_passed_over_and_a_special_one_is_used(town: Town, site: Site) -> None:
    assert _start(town).date() == TODAY
    _except(site, TODAY, TODAY + timedelta(days=1))
    assert _start(town).date() == WEDNESDAY
    AccessException.objects.all().delete()
    # the usual hours of a Monday do not hold on this one
    _except(site, TODAY, None, time(14), time(16))
    start = _start(town)
    assert (start.date(), time(14) <= start.time() <= time(16)) == (TODAY, True)
    _except(site, TODAY + timedelta(days=1), None, time(7), time(18))
    AccessException.objects.filter(first_day=TODAY).update(opens=None, closes=None)
    assert _start(town).date() == TODAY + timedelta(days=1)


def test_a_site_without_hours_is_open_but_on_the_dates_that_say_otherwise(town: Town) -> None:
    site = town.site()
    _except(site, WEDNESDAY)
    access = access_of([site])[site.pk]
    at = datetime.combine(WEDNESDAY, time(9), tzinfo=BERLIN)
    assert not access.is_open(at, at + timedelta(hours=1))
    assert access.is_open(at + timedelta(days=1), at + timedelta(days=1, hours=15))
    assert access.hours_on(WEDNESDAY) == []


@pytest.mark.parametrize(
    ("hour", "minutes", "is_open"), [(8, 240, True), (8, 241, False), (12, 1, False), (7, 60, False)]
)
def test_work_lies_within_the_hours_from_beginning_to_end(site: Site, hour: int, minutes: int, is_open: bool) -> None:
    at = datetime.combine(WEDNESDAY, time(hour), tzinfo=BERLIN)
    assert access_of([site])[site.pk].is_open(at, at + timedelta(minutes=minutes)) is is_open


def test_an_appointment_outside_the_hours_needs_the_clients_word(site: Site, office: Membership) -> None:
    visit = Visit.objects.get(site=site)
    at = datetime.combine(WEDNESDAY, time(14), tzinfo=BERLIN)
    with pytest.raises(InvalidInput, match="open on Wednesday 2026-03-04 from 08:00 to 12:00") as error:
        confirm_visit(visit=visit, by=office, appointment_at=at, now=NOW)
    assert "outside_access_hours" in error.value.faults[0].sentence
    assert error.value.faults[0].pointer == "/appointment_at"
    confirmed = confirm_visit(visit=visit, by=office, appointment_at=at, now=NOW, outside_access_hours=True)
    assert confirmed.appointment_at == at


def test_windows_outside_the_hours_are_not_offered_unless_the_client_opens_up(site: Site, office: Membership) -> None:
    visit = Visit.objects.get(site=site)
    wednesday = datetime.combine(WEDNESDAY, time(8), tzinfo=BERLIN)
    windows = [(wednesday, wednesday + timedelta(hours=2)), (wednesday + timedelta(hours=5, minutes=30),) * 2]
    windows[1] = (windows[1][0], windows[1][0] + timedelta(hours=1))
    with pytest.raises(InvalidInput) as error:
        offer_visit(visit=visit, by=office, windows=windows, now=NOW)
    assert {fault.pointer for fault in error.value.faults} == {"/windows/1/opens_at", "/windows/1/closes_at"}
    offered = offer_visit(visit=visit, by=office, windows=windows, now=NOW, outside_access_hours=True)
    assert len(offered.offers) == 2


def test_a_time_at_which_nobody_works_is_refused_in_a_sentence(site: Site, office: Membership) -> None:
    at = datetime(2026, 3, 7, 10, 0, tzinfo=BERLIN)
    with pytest.raises(InvalidInput) as error:
        confirm_visit(visit=Visit.objects.get(site=site), by=office, appointment_at=at, now=NOW)
    assert error.value.sentence.startswith("appointment_at 2026-03-07T10:00:00+01:00: no installer works from then for")


def test_closed_counts_where_two_exceptions_meet(site: Site) -> None:
    _except(site, WEDNESDAY, WEDNESDAY, time(14), time(16))
    access = access_of([site])[site.pk]
    assert access.hours_on(WEDNESDAY) == [(time(14), time(16))]
    _except(site, WEDNESDAY - timedelta(days=1), WEDNESDAY)
    access = access_of([site])[site.pk]
    assert access.hours_on(WEDNESDAY) == []
    assert access.hours_on(WEDNESDAY + timedelta(days=7)) == [(time(8), time(12))]
    noon = datetime.combine(WEDNESDAY, time(14, 30), tzinfo=BERLIN)
    assert not access.is_open(noon, noon + timedelta(minutes=30))
