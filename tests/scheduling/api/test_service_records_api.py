"""Service records over the API."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Client, Membership
from fleet.models import Placement, Unit
from scheduling.models import Installer, ServiceRecord, Visit
from tests.scheduling.night import run_night
from tests.scheduling.town import Town

ADDRESS = "/api/v1/service-records/"


@pytest.fixture
def unit(town: Town, first_client: Client, ada: Installer) -> Unit:
    unit = town.unit(town.site(client=first_client))
    town.forecast(town.position(unit, "carbon"), 0)
    run_night(town)
    return unit


def _body(town: Town, unit: Unit, **change: Any) -> dict[str, Any]:
    return {
        "site": unit.site_id,
        "visit": Visit.objects.get().pk,
        "reference": "van-1/0001",
        "done_at": "2026-03-02T04:50:00+01:00",
        "minutes": 40,
        "work": [
            {
                "action": "replace",
                "unit": unit.pk,
                "position": town.position(unit, "carbon").pk,
                "removal": "exhausted",
                "serial_or_lot": "L-9",
            }
        ],
        **change,
    }


def test_an_installer_reports_work_once_however_often_it_is_sent(
    as_installer: APIClient, as_client: APIClient, town: Town, unit: Unit
) -> None:
    first = as_installer.post(ADDRESS, _body(town, unit), format="json")
    assert first.status_code == 201, first.content
    again = as_installer.post(ADDRESS, _body(town, unit), format="json")
    assert again.status_code == 200
    assert again.json() == first.json()
    assert ServiceRecord.objects.count() == 1
    said = first.json()
    assert said["work"][0]["item"] == town.item("carbon").pk
    assert said["parts"] == [
        {"item": town.item("carbon").pk, "quantity": 1, "from_van": 0, "from_store": 0, "uncounted": 1}
    ]
    assert as_installer.get(f"/api/v1/visits/{said['visit']}/").json()["state"] == "done"
    assert as_client.get(ADDRESS).json()["count"] == 1


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"reference": ""}, "/reference"),
        ({"reference": "x" * 81}, "/reference"),
        ({"done_at": "2026-03-02T04:50:00"}, "/done_at"),
        ({"done_at": "2027-01-01T00:00:00Z"}, "/done_at"),
        ({"minutes": -1}, "/minutes"),
        ({"work": []}, "/work"),
        ({"work": "replace"}, "/work"),
        ({"work": [{"action": "dance"}]}, "/work/0/action"),
        ({"work": [7]}, "/work/0"),
        ({"parts": [{"item": 1}]}, "/parts/0/quantity"),
        ({"visit": 999_999}, "/visit"),
    ],
)
def test_a_fault_names_its_field(
    as_installer: APIClient, town: Town, unit: Unit, change: dict[str, Any], pointer: str
) -> None:
    refused = as_installer.post(ADDRESS, _body(town, unit, **change), format="json")
    assert refused.status_code == 400, refused.content
    assert pointer in [fault["pointer"] for fault in refused.json()["errors"]]
    assert not ServiceRecord.objects.exists()
    assert Placement.objects.filter(removed_at__isnull=False).count() == 0


def test_another_companys_rows_are_refused_like_absent_ones(
    as_installer: APIClient, town: Town, unit: Unit, rival: Membership
) -> None:
    theirs = Town(rival.company)
    foreign = theirs.unit()
    row = _body(town, unit)["work"][0]
    for name, pk in (("unit", foreign.pk), ("position", theirs.position(foreign, "carbon").pk)):
        said = []
        for number in (pk, 999_999):
            refused = as_installer.post(ADDRESS, _body(town, unit, work=[{**row, name: number}]), format="json")
            assert refused.status_code == 400
            said.append(refused.content.replace(str(number).encode(), b"..."))
        assert said[0] == said[1]
    assert not ServiceRecord.objects.exists()
