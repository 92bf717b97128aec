"""Mending a plan over the API: one call with what happened, one answer with what changed."""

import time
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from accounts.models import Membership
from scheduling.models import CompanyPolicy, Installer, PartsList, Plan, Stop, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.stock.parts import PartsWriter
from scheduling.services.visits.visits import propose_visits
from tests.cast import ApiFor
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

TEN = NOW + timedelta(hours=5)


@pytest.fixture
def address(town: Town, office: Membership, ada: Installer, clock: time_machine.Traveller) -> str:
    town.installer("Ben", east_km=9.0)
    plan = run_night(town, sites=6)
    publish_plan(plan=plan, by=office, now=NOW)
    clock.move_to(TEN)
    return f"/api/v1/plans/{plan.pk}/replan/"


def test_a_broken_day_is_repaired_and_published_in_one_call(address: str, as_office: APIClient, ada: Installer) -> None:
    body = {"installers_out": [{"installer": ada.pk}], "publish": True, "iterations": 100}
    answer = as_office.post(address, body, format="json", headers={"Idempotency-Key": "once"})
    assert answer.status_code == 201, answer.content
    answer_body = answer.json()
    assert (answer_body["state"], answer_body["based_on"], answer_body["faults"]) == (
        "published",
        Plan.objects.order_by("pk")[0].pk,
        [],
    )
    assert answer_body["happened"][0]["kind"] == "installer_out"
    assert answer_body["happened"][0]["through"] == "2026-03-02"
    told_visits = [row["visit"] for row in answer_body["differences"] if row["tell_client"]]
    assert answer_body["tell_clients_of"] == told_visits
    assert {i for row in answer_body["differences"] for i in row["tell_installers"]} == set(
        answer_body["tell_installers"]
    )
    after = {stop["visit"]: stop["starts_at"] for round_ in answer_body["rounds"] for stop in round_["stops"]}
    for row in answer_body["differences"]:
        assert row["after"] is None or row["after"]["starts_at"] == after[row["visit"]]
    again = as_office.post(address, body, format="json", headers={"Idempotency-Key": "once"})
    assert again.json() == answer_body
    assert Plan.objects.count() == 2
    refused = as_office.post(address, body, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "plan_is_not_published")


def test_a_plan_whose_parts_lists_cannot_be_written_is_not_stored(
    address: str, as_office: APIClient, ada: Installer, monkeypatch: pytest.MonkeyPatch
) -> None:
    published = Plan.objects.get()
    lists = set(PartsList.objects.values_list("pk", "plan"))
    body = {"installers_out": [{"installer": ada.pk}], "publish": True, "iterations": 100}
    with monkeypatch.context() as patch:
        patch.setattr(PartsWriter, "delete_stale", _broken)
        with pytest.raises(OSError, match="the disk is full"):
            as_office.post(address, body, format="json")
    assert [(plan.pk, plan.state) for plan in Plan.objects.all()] == [(published.pk, "published")]
    assert set(PartsList.objects.values_list("pk", "plan")) == lists
    answer = as_office.post(address, body, format="json")
    assert answer.status_code == 201, answer.content
    assert PartsList.objects.filter(plan=answer.json()["id"]).exists()


def _broken(writer: PartsWriter) -> None:
    raise OSError("the disk is full")


def test_a_cancellation_an_overrun_and_an_urgent_call_together(address: str, as_office: APIClient, town: Town) -> None:
    stops = list(Stop.objects.order_by("starts_at"))
    begun = [s for s in stops if s.arrives_at <= TEN]
    unit = town.unit(town.site(north_km=3))
    body = {
        "overruns": [{"visit": begun[-1].visit_id, "minutes": 30}],
        "cancelled_visits": [{"visit": stops[-1].visit_id, "note": "Away."}],
        "urgent_calls": [{"unit": unit.pk, "reason": "Leak under the sink."}],
        "iterations": 100,
    }
    answer_body = as_office.post(address, body, format="json").json()
    assert [row["kind"] for row in answer_body["happened"]] == ["overrun", "visit_cancelled", "urgent_call"]
    assert Visit.objects.get(pk=stops[-1].visit_id).state == "cancelled"
    kinds = {row["visit"]: row["kind"] for row in answer_body["differences"]}
    assert kinds[Visit.objects.get(site=unit.site).pk] == "added"


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"installers_out": [{"installer": 987654}]}, "/installers_out/0/installer"),
        ({"installers_out": [{"installer": "ada", "through": "2999-12-31"}]}, "/installers_out/0/through"),
        ({"installers_out": [{"installer": "ada", "from_at": "1999-01-01T08:00:00Z"}]}, "/installers_out/0/from_at"),
        ({"installers_out": [{"from_at": "2026-03-02T10:00:00"}]}, "/installers_out/0/installer"),
        ({"overruns": [{"visit": 987654, "minutes": 5}]}, "/overruns/0/visit"),
        ({"overruns": {}}, "/overruns"),
        ({"cancelled_visits": ["x"]}, "/cancelled_visits/0"),
        ({"urgent_calls": [{"unit": 987654, "reason": "?"}]}, "/urgent_calls/0/unit"),
        ({"days": 0}, "/days"),
        ({"days": 8}, "/days"),
        ({"seconds": 61}, "/seconds"),
        ({"iterations": 20_001}, "/iterations"),
        ({"seed": -1}, "/seed"),
        ({"weather": "bad"}, "/weather"),
    ],
)
def test_a_fault_names_its_field_and_nothing_is_changed(
    address: str, as_office: APIClient, ada: Installer, body: dict[str, Any], pointer: str
) -> None:
    for row in body.get("installers_out", ()):
        if row.get("installer") == "ada":
            row["installer"] = ada.pk
    refused = as_office.post(address, body, format="json")
    assert refused.status_code == 400, refused.content
    assert pointer in [fault["pointer"] for fault in refused.json()["errors"]]
    assert Plan.objects.count() == 1


def test_a_plan_that_changed_since_it_was_read_is_not_repaired(address: str, as_office: APIClient) -> None:
    refused = as_office.post(address, {}, format="json", headers={"If-Match": '"stale"'})
    assert refused.status_code == 412
    assert Plan.objects.count() == 1


def test_a_whole_crews_day_is_repaired_in_one_call(
    town: Town, office: Membership, api_for: ApiFor, ada: Installer, clock: time_machine.Traveller
) -> None:
    """Four installers and sixty open visits; one falls ill, one is held up, a client calls off, another calls."""
    CompanyPolicy.objects.create(company=town.company, settings={"removal_minutes": 33})
    for name, east in (("Ben", 9.0), ("Cem", 18.0), ("Dana", 27.0)):
        town.installer(name, east_km=east)
    for k in range(60):
        unit = town.unit(town.site(east_km=0.5 * k, north_km=float(k * 7 % 11)), train=(("carbon", "single"),))
        town.forecast(town.position(unit, "carbon"), k % 3)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, days=2, iterations=1_000).plan
    publish_plan(plan=plan, by=office, now=NOW)
    clock.move_to(TEN)
    stops = list(Stop.objects.filter(round__plan=plan).order_by("starts_at"))
    held_up = [s for s in stops if s.arrives_at <= TEN and s.round.installer.name == "Ben"][-1]
    off = next(s for s in reversed(stops) if s.round.installer.name == "Cem")
    unit = town.unit(town.site(east_km=11.0))
    body = {
        "installers_out": [{"installer": ada.pk, "through": "2026-03-03"}],
        "overruns": [{"visit": held_up.visit_id, "minutes": 90}],
        "cancelled_visits": [{"visit": off.visit_id}],
        "urgent_calls": [{"unit": unit.pk, "reason": "No water."}],
    }
    began = time.perf_counter()
    answer = api_for(office).post(f"/api/v1/plans/{plan.pk}/replan/", body, format="json")
    print(f"repaired in {time.perf_counter() - began:.1f} s")
    assert answer.status_code == 201, answer.content
    answer_body = answer.json()
    assert answer_body["faults"] == []
    after = {
        stop["visit"]: (row["installer"], stop["starts_at"]) for row in answer_body["rounds"] for stop in row["stops"]
    }
    before = {s.visit_id: s for s in stops}
    changed = {row["visit"]: row for row in answer_body["differences"]}
    ahead = {pk for pk, s in before.items() if s.round.installer_id == ada.pk and s.starts_at > TEN}
    assert ahead
    assert ahead <= set(changed)
    assert not [pk for pk, (installer_id, _) in after.items() if installer_id == ada.pk and pk in ahead]
    assert (changed[off.visit_id]["kind"], off.visit_id in after) == ("cancelled", False)
    urgent = Visit.objects.get(site=unit.site)
    assert (changed[urgent.pk]["kind"], urgent.pk in answer_body["tell_clients_of"]) == ("added", True)
    # nobody is moved without being told of it, and who is not told is where they were, to a quarter of an hour
    for pk, stop in before.items():
        if pk not in changed:
            installer_id, at = after[pk]
            assert installer_id == stop.round.installer_id
            assert abs(datetime.fromisoformat(at) - stop.starts_at) <= timedelta(minutes=15)
    for row in changed.values():
        assert row["tell_client"] or row["kind"] in {"cancelled", "reassigned"}
        assert row["tell_installers"]
    print(f"{len(changed)} of {len(before)} visits changed, {len(answer_body['tell_clients_of'])} clients to tell")
