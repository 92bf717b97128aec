"""Stops over the API: locked with a reason, unlocked by the visit."""

import pytest
from rest_framework.test import APIClient

from accounts.models import Membership
from scheduling.models import Installer, Stop
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town


@pytest.fixture
def stop(town: Town, ada: Installer) -> Stop:
    run_night(town, sites=3)
    return Stop.objects.select_related("round").order_by("order").first()


def test_a_lock_says_who_locked_it_and_why(as_office: APIClient, office: Membership, stop: Stop) -> None:
    Membership.objects.filter(pk=office.pk).update(name="Ofer")
    empty = as_office.post(f"/api/v1/stops/{stop.pk}/lock/", {})
    assert [fault["pointer"] for fault in empty.json()["errors"]] == ["/reason"]
    locked = as_office.post(f"/api/v1/stops/{stop.pk}/lock/", {"reason": "The caretaker has the key."})
    assert (locked.status_code, locked.json()["is_locked"]) == (200, True), locked.content
    address = f"/api/v1/visits/{stop.visit_id}/"
    lock = as_office.get(address).json()["lock"]
    assert lock["reason"] == "The caretaker has the key."
    assert (lock["locked_by"], lock["locked_by_name"], lock["installer"]) == (
        office.pk,
        "Ofer",
        stop.round.installer_id,
    )
    assert lock["locked_at"] == NOW.isoformat().replace("+00:00", "Z")
    for _ in range(2):
        assert as_office.post(f"{address}unlock/", {"note": "Key handed over."}).json()["lock"] is None
    assert as_office.get(f"/api/v1/stops/{stop.pk}/").json()["is_locked"] is False
