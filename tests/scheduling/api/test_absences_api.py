"""Absences over the API: the office writes them, installers see the days and not the reason."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from scheduling.models import Absence, Installer

ADDRESS = "/api/v1/absences/"
DAYS = {"first_day": "2026-03-03", "last_day": "2026-03-05"}


def test_the_office_writes_changes_and_takes_back(
    as_office: APIClient, as_installer: APIClient, ada: Installer
) -> None:
    created = as_office.post(ADDRESS, {**DAYS, "installer": ada.pk, "reason": "Parental leave."}, format="json")
    assert created.status_code == 201, created.content
    body = created.json()
    assert (body["installer_name"], body["from_time"], body["reason"]) == ("Ada", None, "Parental leave.")
    seen_by_installer = as_installer.get(f"{ADDRESS}{body['id']}/").json()
    assert seen_by_installer == {name: value for name, value in body.items() if name != "reason"}
    again = as_office.post(ADDRESS, {**DAYS, "installer": ada.pk}, format="json")
    assert again.json()["id"] == body["id"]
    changed = as_office.patch(f"{ADDRESS}{body['id']}/", {"to_time": "12:00", "last_day": "2026-03-06"}, format="json")
    assert (changed.json()["to_time"], changed.json()["reason"]) == ("12:00:00", "Parental leave.")
    listed = as_office.get(f"{ADDRESS}?installer={ada.pk}&last_day__gte=2026-03-06").json()["results"]
    assert [row["id"] for row in listed] == [body["id"]]
    assert as_office.delete(f"{ADDRESS}{body['id']}/").status_code == 204
    assert not Absence.objects.exists()


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"last_day": "2026-03-02"}, "/last_day"),
        ({"last_day": None}, "/last_day"),
        ({"from_time": "25:00"}, "/from_time"),
        ({"last_day": "2026-03-03", "from_time": "12:00", "to_time": "11:00"}, "/to_time"),
        ({"installer": 987654}, "/installer"),
        ({"illness": "flu"}, "/illness"),
    ],
)
def test_a_fault_names_its_field(as_office: APIClient, ada: Installer, body: dict[str, Any], pointer: str) -> None:
    refused = as_office.post(ADDRESS, {**DAYS, "installer": ada.pk, **body}, format="json")
    assert refused.status_code == 400, refused.content
    assert pointer in [fault["pointer"] for fault in refused.json()["errors"]]
    assert not Absence.objects.exists()


def test_overtime_is_a_setting_of_the_installer(as_office: APIClient, ada: Installer) -> None:
    address = f"/api/v1/installers/{ada.pk}/"
    assert as_office.patch(address, {"max_overtime_minutes": 45}).json()["max_overtime_minutes"] == 45
    refused = as_office.patch(address, {"max_overtime_minutes": 241})
    assert refused.json()["errors"][0]["pointer"] == "/max_overtime_minutes"
