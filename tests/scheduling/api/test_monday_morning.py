"""Monday morning of the office, by the very list of calls that the README gives, over HTTP alone."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine

from accounts.models import Membership
from scheduling.models import Installer, Message, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.visits.visits import propose_visits
from tests.readme import answers_of
from tests.scheduling.town import NOW, Town

MONDAY = "The office on Monday morning, from what cannot wait to a published week that is offered, in eight calls:"
#: Kinds of matter that a visit settles.
BY_VISIT = ("bad_water", "bad_water_soon", "endangers_membrane", "faults")


def _to_plan(attention: dict[str, Any]) -> list[dict[str, Any]]:
    kinds = [kind for kind in attention["by_kind"] if kind["kind"] in BY_VISIT]
    return [row for kind in kinds for row in kind["matters"] if row["settle"]["path"] == "/api/v1/plans/"]


@pytest.mark.django_db(transaction=True)
def test_eight_calls_lead_from_what_cannot_wait_to_a_published_week_that_is_offered(
    live_server: Any,
    clock: time_machine.Traveller,
    town: Town,
    ada: Installer,
    office: Membership,
    api_for: Any,
    tmp_path: Path,
) -> None:
    # today's vans are on the road: the plan begins tomorrow
    clock.shift(timedelta(hours=5))
    for k in range(5):
        client = town.client(name=f"Client {k}", email=f"c{k}@x.example" if k else "")
        site = town.site(east_km=2.0 * (k + 1), client=client)
        town.forecast(town.position(town.unit(site), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    token = api_for(office)._credentials["HTTP_AUTHORIZATION"].partition(" ")[2]
    answers = answers_of(MONDAY, api=f"{live_server.url}/api/v1", token=token, folder=tmp_path)
    assert len(answers) <= 8
    before, after = answers[0], answers[-1]
    assert len(_to_plan(before)) == 5
    plan = next(answer for answer in answers if answer.get("state") == "published")
    assert [fault for fault in plan["faults"] if fault["prevents_publishing"]] == []
    offered = next(answer for answer in answers if "letters" in answer)
    in_rounds = {stop["visit"] for day in plan["rounds"] for stop in day["stops"]}
    assert {visit["id"] for visit in offered["visits"]} == in_rounds
    assert set(Visit.objects.filter(state="offered").values_list("pk", flat=True)) == in_rounds
    assert len(in_rounds) >= 4
    assert Message.objects.filter(kind="offered").count() == len(offered["letters"]) == len(in_rounds)
    # whoever has no e-mail is called, and the caller has the times to say
    calls = [row for row in answers[-2]["results"] if row["kind"] == "offered"]
    assert [row["client_name"] for row in calls] == ["Client 0"]
    assert "between" in calls[0]["body"]
    assert {row["visit"] for row in _to_plan(after)}.isdisjoint(in_rounds)
