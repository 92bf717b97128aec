"""Whose a site or a unit was before comes in with the sheets, and with it who reads what happened there."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from accounts.models import Client, Membership
from fleet.models import PastOwnership, Site, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import BroughtIn, Outcome
from scheduling.company_files.take_out import take_out
from tests import factories
from tests.cast import ApiFor

NOW = factories.NOW
FIRST, SECOND = NOW - timedelta(days=300, hours=2), NOW - timedelta(days=100, hours=2)
PEOPLE = {FIRST - timedelta(days=30): "Wilma Ahead", FIRST + timedelta(days=30): "Bruno Next", NOW: "Carla Later"}
HEAD = "client,site,unit,since,until\n"


def brought(by: Membership, files: dict[str, str]) -> BroughtIn:
    return bring_in(by=by, files={name: text.encode() for name, text in files.items()}, now=NOW, is_trial=False)


def told(result: BroughtIn) -> list[str]:
    return [remark for page in result.pages for row in page.rows for remark in row.remarks]


def empty_company() -> Membership:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    owner: Membership = factories.MembershipFactory(company=company, role="owner")
    return owner


@pytest.fixture
def owner() -> Membership:
    """Of a company whose site S1 passed from A to B to C, and whose unit U9 came from A's S2 to C's S1."""
    owner = empty_company()
    company = owner.company
    a, b, c = (factories.ClientFactory(company=company, name=name) for name in "ABC")
    site = factories.SiteFactory(company=company, client=c, code="S1", client_since=SECOND)
    other = factories.SiteFactory(company=company, client=a, code="S2")
    unit = factories.UnitFactory(company=company, site=site, code="U1", client_since=SECOND)
    moved = factories.UnitFactory(company=company, site=site, code="U9", client_since=SECOND + timedelta(days=5))
    fresh = factories.UnitFactory(company=company, site=site, code="U5")
    stayed = factories.UnitFactory(company=company, site=other, code="U7")
    for each in (unit, moved, fresh, stayed):
        factories.PositionFactory(unit=each)
    PastOwnership.objects.create(company=company, client=a, site=site, until=FIRST)
    PastOwnership.objects.create(company=company, client=b, site=site, since=FIRST, until=SECOND)
    PastOwnership.objects.create(company=company, client=a, unit=unit, until=FIRST)
    PastOwnership.objects.create(company=company, client=b, unit=unit, since=FIRST, until=SECOND)
    PastOwnership.objects.create(company=company, client=a, unit=moved, until=SECOND + timedelta(days=5))
    for at, person in PEOPLE.items():
        for held in (unit, moved):
            factories.ReadingFactory(unit=held, taken_at=at, person=person, note=person, reference=f"{at.date()}")
        factories.FeedWaterSampleFactory(site=site, taken_at=at, measured_by=person, reference=f"{at.date()}")
    return owner


def seen_by(api_for: ApiFor, company: Any, name: str) -> dict[str, Any]:
    """What a client reads of readings and samples, by what does not depend on ids."""
    client = Client.objects.of_company(company).get(name=name)
    member = factories.MembershipFactory(company=company, role="client", client=client)
    api = api_for(member)
    units = dict(Unit.objects.of_company(company).values_list("pk", "code"))
    sites = dict(Site.objects.of_company(company).values_list("pk", "code"))
    readings = api.get("/api/v1/readings/", {"page_size": 100}).json()["results"]
    samples = api.get("/api/v1/feed-water-samples/", {"page_size": 100}).json()["results"]
    return {
        "readings": sorted((units[row["unit"]], row["taken_at"], row["person"]) for row in readings),
        "samples": sorted((sites[row["site"]], row["taken_at"], row["measured_by"]) for row in samples),
    }


@pytest.mark.django_db
def test_out_and_in_again_each_client_reads_what_they_read_before(owner: Membership, api_for: ApiFor) -> None:
    files = dict(take_out(company=owner.company, by=owner))
    second = empty_company()
    result = brought(second, files)
    assert [row.remarks for page in result.pages for row in page.rows if row.outcome == Outcome.REFUSED] == []
    assert dict(take_out(company=second.company, by=second)) == files
    for name in "ABC":
        before, after = seen_by(api_for, owner.company, name), seen_by(api_for, second.company, name)
        assert after == before
        assert before["readings"]
    # Of the time before theirs the last client reads the values and nobody's name; the first reads nothing of later.
    assert {row[2] for row in seen_by(api_for, second.company, "C")["readings"]} == {"", "Carla Later"}
    assert {row[2] for row in seen_by(api_for, second.company, "A")["readings"]} == {"Wilma Ahead", "Bruno Next"}
    again = brought(owner, files)
    assert {row.outcome for page in again.pages for row in page.rows} == {Outcome.LEFT}
    assert told(again) == told(brought(owner, files))


@pytest.mark.django_db
def test_a_site_told_alone_shares_its_past_with_its_units(owner: Membership) -> None:
    client = Client.objects.get(name="B")
    site = Site.objects.get(code="S2")
    unit = Unit.objects.get(code="U7")
    result = brought(owner, {"ownerships.csv": f"{HEAD}B,S2,,,2025-06-01\n"})
    assert [row.outcome for row in result.pages[0].rows] == [Outcome.MADE]
    for held in (site, unit):
        held.refresh_from_db()
        # A day alone is its noon in Berlin, two hours ahead of UTC in summer.
        assert held.client_since == datetime(2025, 6, 1, 10, tzinfo=UTC)
        (past,) = held.past_ownerships.all()
        assert (past.client, past.since, past.until) == (client, None, held.client_since)


@pytest.mark.django_db
def test_times_may_come_in_any_order_and_fill_in_since_when(owner: Membership) -> None:
    site = Site.objects.get(code="S2")
    rows = "B,S2,,2024-06-01,2025-06-01\nC,S2,,2023-01-01,2024-06-01\nA,S2,,,\n"
    result = brought(owner, {"ownerships.csv": HEAD + rows})
    assert [row.outcome for row in result.pages[0].rows] == [Outcome.MADE, Outcome.MADE, Outcome.LEFT]
    site.refresh_from_db()
    assert site.client_since == datetime(2025, 6, 1, 10, tzinfo=UTC)
    later = brought(owner, {"ownerships.csv": f"{HEAD}A,S2,,2025-07-01,\n"})
    assert [row.outcome for row in later.pages[0].rows] == [Outcome.CHANGED]
    site.refresh_from_db()
    assert site.client_since == datetime(2025, 7, 1, 10, tzinfo=UTC)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("B,S1,U1,,2024-01-01", "Name a site or a unit, and not both"),
        ("B,,,,2024-01-01", "Name a site or a unit, and not both"),
        ("B,S8,,,2024-01-01", "There is no site 'S8'"),
        ("Z,S2,,,2024-01-01", "There is no client 'Z'"),
        ("B,S2,,,2027-01-01", "2027-01-01 is still to come"),
        ("B,S2,,2025-06-01,2025-01-01", "2025-01-01 is not after 2025-06-01, when it began"),
        ("B,S2,,2025-01-01,", "S2 is A's now; say until when it was B's"),
        ("C,S1,,2025-06-01,2025-09-01", "It was B's from"),
        ("C,S1,,2024-06-01,2025-03-01", "It was A's from the start until"),
        ("A,S1,,2026-01-01,2026-02-01", "The present client has had it since"),
        ("C,S1,,2025-08-01,", "It was B's from"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_stored(owner: Membership, row: str, sentence: str) -> None:
    before = list(PastOwnership.objects.order_by("pk").values())
    site = Site.objects.get(code="S1")
    Site.objects.filter(pk=site.pk).update(client_since=SECOND + timedelta(hours=1))
    result = brought(owner, {"ownerships.csv": f"{HEAD}{row}\n"})
    assert [each.outcome for each in result.pages[0].rows] == [Outcome.REFUSED]
    assert sentence in told(result)[0]
    assert list(PastOwnership.objects.order_by("pk").values()) == before
