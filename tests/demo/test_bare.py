"""`manage.py demo --bare`: from a person's sheets to the first evening's answers."""

import io
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from accounts.models import Company, Membership
from fleet.models import Placement, Site, Unit
from scheduling.demo.bare_sheets import NAME
from scheduling.models import Need, Plan, UnservedVisit, Visit
from tests import factories
from tests.cast import ApiFor

pytestmark = [pytest.mark.django_db, pytest.mark.interface]


def _planned(company: Company) -> dict[date, set[str]]:
    """Day to the codes of the sites that the newest plan visits on it."""
    rounds = Plan.objects.of_company(company).get(state="draft").rounds.order_by("day")
    return {row.day: set(row.stops.values_list("visit__site__code", flat=True)) for row in rounds}


def test_from_sheets_to_who_needs_what_what_to_order_and_a_plan(tmp_path: Path, api_for: ApiFor) -> None:
    out = io.StringIO()
    call_command("demo", bare=True, folder=tmp_path, stdout=out)
    text = out.getvalue()
    company = Company.objects.get(name=NAME)
    assert (Unit.objects.of_company(company).count(), Site.objects.filter(latitude=None).count()) == (12, 2)
    for expected in (
        "Line 1 ('Our clients - please keep up to date!') stands above the headers",
        "km from the nearest other site; check its latitude and longitude.",
        "'31.2.",
        "assumed as usual of its kind",
        "stands in no round until its latitude and longitude are given",
        "manage.py nightly",
    ):
        assert expected in text, expected
    assert "refused" not in text.split("A trial")[0].replace("left and refused", "")

    plan = Plan.objects.of_company(company).get(state="draft")
    assert plan.days == 14
    first, *later = _planned(company).values()
    # resin that readings speak of, and two coffee bars; the rest go when their parts are there, and nobody twice
    assert {"S01", "S04", "S10"} <= first
    assert len(first) <= 6, "not all on the first day"
    assert len(set().union(*later)) >= 3
    assert first.isdisjoint(set().union(*later))
    urgent = Visit.objects.of_company(company).filter(is_urgent=True).values_list("site__code", flat=True)
    assert set(urgent) == {"S04", "S06", "S10"}, "what is known by labels alone has its price, and is not urgent"
    reasons = set(UnservedVisit.objects.filter(plan=plan).values_list("reason", flat=True))
    assert "location_unknown" in reasons
    for visit in Visit.objects.of_company(company):
        kinds = set(visit.tasks.values_list("need__kind", flat=True))
        assert kinds - {Need.Kind.INSPECT, Need.Kind.TAKE_READING}, "nobody drives out only to look"
        assert visit.travel_cost < 200 or visit.site.code == "S06", "one mistyped place makes no other dear"

    owner = Membership.objects.of_company(company).get(role="owner")
    caller = api_for(owner)
    month = f"{company.day_at(timezone.now()) + timedelta(days=31)}"
    needs = caller.get("/api/v1/needs/", {"state": "open", "kind": "replace", "best_day__lte": month}).json()["results"]
    assert len({need["unit"] for need in needs}) > 8
    lists = caller.get("/api/v1/parts-lists/", {"scope": "period", "ordering": "first_day"}).json()["results"]
    short = {line["item_code"] for parts in lists for line in parts["lines"] if line["short"]}
    assert {"SED5", "CB10", "MIX"} <= short
    waiting = caller.get("/api/v1/sites/", {"is_located": "false"}).json()["results"]
    assert [site["code"] for site in waiting] == ["S08", "S11"]

    before = (Placement.objects.count(), Need.objects.count(), _planned(company))
    again = io.StringIO()
    call_command("demo", bare=True, folder=tmp_path, stdout=again)
    assert "0 rows made, 0 changed" in again.getvalue()
    assert (Placement.objects.count(), Need.objects.count(), _planned(company)) == before


def test_it_goes_with_a_folder_alone(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="--bare stands at today"):
        call_command("demo", bare=True, seed=2, folder=tmp_path)


def test_a_company_of_somebody_else_by_that_name_is_left_alone(tmp_path: Path) -> None:
    company = factories.CompanyFactory(name=NAME)
    factories.MembershipFactory(company=company, role="owner")
    with pytest.raises(CommandError, match="is not the demo's"):
        call_command("demo", bare=True, folder=tmp_path, stdout=io.StringIO())
    assert not Unit.objects.exists()
