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


def test_a_move_is_seen_first_and_then_made(
    as_office: APIClient, as_installer: APIClient, town: Town, stop: Stop
) -> None:
    ben = town.installer("Ben", east_km=9.0)
    move = {"installer": ben.pk, "day": "2026-03-03"}
    address = f"/api/v1/stops/{stop.pk}/"
    assert as_installer.post(f"{address}preview-move/", move).status_code == 403
    preview = as_office.post(f"{address}preview-move/", move, format="json")
    assert preview.status_code == 200, preview.content
    preview_body = preview.json()
    assert (preview_body["refusals"], preview_body["warnings"]) == ([], [])
    assert set(preview_body["cost"]) == {"total", "driving", "overtime", "visits"}
    assert [row["visit"] for row in preview_body["differences"]][-1:] != []
    to = next(row for row in preview_body["rounds"] if row["installer_name"] == "Ben")
    assert [at["visit"] for at in to["stops"]] == [stop.visit_id]
    assert to["leaves_at"] < to["stops"][0]["starts_at"] < to["returns_at"]
    assert Stop.objects.get(pk=stop.pk).round_id == stop.round_id
    moved = as_office.post(f"{address}move/", {**move, "reason": "Asked for Tuesday."}, format="json")
    assert moved.status_code == 200, moved.content
    assert moved.json()["differences"] == preview_body["differences"]
    now = as_office.get(address).json()
    assert now["is_locked"] is True
    assert now["round"] != stop.round_id
    again = as_office.post(f"{address}move/", {"day": "2026-03-04"}, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "warnings_not_acknowledged")
    assert "Asked for Tuesday." in again.json()["errors"][0]["detail"]
    for body, pointer in (
        ({"installer": 987654}, "/installer"),
        ({"day": "soon"}, "/day"),
        ({"place": 0}, "/place"),
        ({"place": 99}, "/place"),
        ({"acknowledge": "all"}, "/acknowledge"),
        ({"weather": 1}, "/weather"),
    ):
        refused = as_office.post(f"{address}move/", body, format="json")
        assert refused.status_code == 400, refused.content
        assert pointer in [fault["pointer"] for fault in refused.json()["errors"]]
