"""Installers read of clients whom they come to these days, of nobody else, unless the owner lets them."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Client, Company, Membership
from scheduling.models import Plan, Round, Visit
from tests import factories

WAY_IN = "key under the stone"


class Town:
    """Three clients with a site each: on a round of today, on one of long ago, and on somebody else's."""

    def __init__(self, company: Company, installer: Membership) -> None:
        self.company, self.today = company, datetime.now(UTC).date()
        self.me = factories.InstallerFactory(company=company, membership=installer, name="Ines")
        self.other = factories.InstallerFactory(company=company, name="Otto")
        self.mine = self.round(self.me, self.today, "Mine")
        self.past = self.round(self.me, self.today - timedelta(days=9), "Past")
        self.theirs = self.round(self.other, self.today, "Theirs")

    def round(self, installer: Any, day: Any, name: str) -> Round:
        client = factories.ClientFactory(company=self.company, name=f"{name} Client", phone=f"555 {name}")
        site = factories.SiteFactory(client=client, company=self.company, name=name, access_notes=WAY_IN)
        published = Plan.objects.filter(company=self.company, first_day=day).first()
        plan = published or factories.PlanFactory(company=self.company, state="published", first_day=day)
        made = Round.objects.filter(plan=plan, installer=installer).first()
        made = made or factories.RoundFactory(plan=plan, installer=installer, day=day)
        visit = factories.VisitFactory(
            company=self.company, site=site, state=Visit.State.DONE, closed_at=datetime.now(UTC) - timedelta(days=30)
        )
        factories.StopFactory(round=made, visit=visit)
        factories.MessageFactory(company=self.company, client=client, visit=visit)
        return made


@pytest.fixture
def town(company: Company, installer: Membership) -> Town:
    return Town(company, installer)


def rows(api: APIClient, path: str) -> list[dict[str, Any]]:
    answer = api.get(f"/api/v1/{path}")
    assert answer.status_code == 200, answer.content
    return list(answer.json()["results"])


def names(api: APIClient) -> set[str]:
    return {row["name"] for row in rows(api, "clients/")}


def test_clients_and_doors_are_those_of_these_days(as_installer: APIClient, as_office: APIClient, town: Town) -> None:
    assert names(as_installer) == {"Mine Client"}
    assert names(as_office) == {"Mine Client", "Past Client", "Theirs Client"}
    unknown = Client.objects.get(name="Theirs Client")
    assert as_installer.get(f"/api/v1/clients/{unknown.pk}/").status_code == 404
    doors = {row["name"]: row["access_notes"] for row in rows(as_installer, "sites/")}
    assert doors == {"Mine": WAY_IN, "Past": "", "Theirs": ""}
    assert {row["client_name"] for row in rows(as_installer, "messages/")} == {"Mine Client"}
    assert len(rows(as_office, "messages/")) == 3


def test_a_visit_with_my_name_counts_before_it_stands_in_a_round(as_installer: APIClient, town: Town) -> None:
    theirs = Visit.objects.get(site__name="Theirs")
    factories.VisitFactory(company=town.company, site=theirs.site, installer=town.me)
    assert names(as_installer) == {"Mine Client", "Theirs Client"}


def test_names_and_numbers_are_not_tried_out_by_a_search(as_installer: APIClient, town: Town) -> None:
    def found(words: str) -> set[tuple[str, str, str]]:
        answer = as_installer.get("/api/v1/search/", {"search": words}).json()
        return {(kind["kind"], row["title"], row["phone"]) for kind in answer["by_kind"] for row in kind["found"]}

    assert found("Theirs Client") == set()
    assert {kind for kind, *_ in found("Mine Client")} == {"client"}
    assert {phone for kind, _, phone in found("Theirs")} == {""}
    assert {phone for kind, _, phone in found("Mine") if kind == "site"} == {"555 Mine"}
    assert rows(as_installer, "sites/?search=Theirs%20Client") == []


def test_sheets_and_calendars_are_those_of_ones_own_rounds(
    as_installer: APIClient, as_office: APIClient, town: Town
) -> None:
    for day, status in ((town.mine, 200), (town.past, 403), (town.theirs, 403)):
        for path in ("day-sheet", "gpx"):
            address = f"/api/v1/rounds/{day.pk}/{path}/"
            assert as_installer.get(address).status_code == status, address
            assert as_office.get(address).status_code == 200
    assert as_installer.get(f"/api/v1/rounds/{town.theirs.pk}/day-sheet/").json()["code"] == "round_of_another"
    for installer, status in ((town.me, 200), (town.other, 403)):
        assert as_installer.get(f"/api/v1/installers/{installer.pk}/calendar/").status_code == status


def test_an_owner_lets_them_see_all(as_owner: APIClient, as_installer: APIClient, town: Town) -> None:
    assert as_owner.get("/api/v1/company/").json()["installers_see"] == "their_days"
    assert as_owner.patch("/api/v1/company/", {"installers_see": "all"}).status_code == 200
    assert len(names(as_installer)) == 3
    assert {row["access_notes"] for row in rows(as_installer, "sites/")} == {WAY_IN}
    assert as_installer.get(f"/api/v1/rounds/{town.theirs.pk}/day-sheet/").status_code == 200
    wrong = as_owner.patch("/api/v1/company/", {"installers_see": "some"})
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (400, "/installers_see")


def test_lists_take_as_many_questions_however_many_clients_there_are(
    as_installer: APIClient, town: Town, django_assert_max_num_queries: Any
) -> None:
    for number in range(6):
        town.round(town.me, town.today + timedelta(days=number - 7), f"More {number}")
    with django_assert_max_num_queries(9):
        rows(as_installer, "sites/")


def test_an_instrument_is_not_tried_out_by_its_name(as_client: APIClient, first_client: Client) -> None:
    unit = factories.UnitFactory(company=first_client.company, site__client=first_client)
    factories.InstrumentFactory(company=first_client.company, unit=unit, name="Kitchen meter")
    factories.InstrumentFactory(
        company=first_client.company, unit=factories.UnitFactory(company=first_client.company), name="Vault meter"
    )
    factories.InstrumentFactory(company=first_client.company, name="Van meter")

    def sent(name: str) -> Any:
        return as_client.post(f"/api/v1/units/{unit.pk}/readings/", {"permeate_tds": "12 ppm", "instrument": name})

    assert sent("Kitchen meter").status_code == 201
    answers = [sent(name) for name in ("Vault meter", "Van meter", "Vault mater", "Cellar thing")]
    assert {answer.status_code for answer in answers} == {400}
    said = {answer.json()["errors"][0]["detail"].split("'")[2] for answer in answers}
    assert said == {"."}, "no name of another is hinted at"
