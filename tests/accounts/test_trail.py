"""The trail: old and new values, who posted what, who came in and who was refused, in words and by filters."""

import re
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import AuditEntry, Membership
from accounts.services import trail_words
from tests import factories
from tests.factories import PASSWORD

TRAIL = "/api/v1/audit-entries/"
ROOT = Path(__file__).parents[2]


def entries(api: APIClient, **filters: Any) -> list[Any]:
    answer = api.get(TRAIL, filters)
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def test_a_changed_unit_tells_old_and_new_values(as_owner: APIClient, as_office: APIClient, company: Any) -> None:
    unit = factories.UnitFactory(company=company, code="S02-1", weekly_demand_l=100.0, has_booster_pump=False)
    sent = {"weekly_demand": "140 L", "has_booster_pump": True}
    assert as_office.patch(f"/api/v1/units/{unit.pk}/", sent, format="json").status_code == 200
    (entry,) = entries(as_owner, about="s02-1", did="update")
    assert entry["details"]["changes"] == {
        "weekly_demand_l": {"old": 100.0, "new": 140.0},
        "has_booster_pump": {"old": False, "new": True},
    }
    assert entry["sentence"] == (
        "ofer@north.example changed the unit S02-1. Weekly demand [L]: 140, before 100. "
        "Has booster pump: yes, before no."
    )


@pytest.mark.parametrize(
    ("kind", "sent", "column", "old", "new"),
    [
        ("catalogue-items", {"price": "7.50"}, "price", "5.00", "7.50"),
        ("clients", {"phone": "+49 40 5550100"}, "phone", "", "+49 40 5550100"),
        ("suppliers", {"name": "Filters & Co"}, "name", "Old Filters", "Filters & Co"),
        ("installers", {"max_overtime_minutes": 60}, "max_overtime_minutes", 0, 60),
        ("sites", {"chloraminated": True}, "chloraminated", None, True),
    ],
)
def test_every_kind_of_record_tells_old_and_new(
    kind: str, sent: Any, column: str, old: Any, new: Any, as_owner: APIClient, company: Any
) -> None:
    made = {
        "catalogue-items": lambda: factories.CatalogueItemFactory(company=company, price="5.00"),
        "clients": lambda: factories.ClientFactory(company=company),
        "suppliers": lambda: factories.SupplierFactory(company=company, name="Old Filters"),
        "installers": lambda: factories.InstallerFactory(company=company),
        "sites": lambda: factories.SiteFactory(company=company),
    }[kind]()
    answer = as_owner.patch(f"/api/v1/{kind}/{made.pk}/", sent, format="json")
    assert answer.status_code == 200, answer.content
    newest = entries(as_owner)[0]
    assert newest["details"]["changes"] == {column: {"old": old, "new": new}}


def test_a_changed_policy_tells_old_and_new(as_owner: APIClient) -> None:
    name, value = next((k, v) for k, v in as_owner.get("/api/v1/policy/").json().items() if isinstance(v, float) and v)
    assert as_owner.patch("/api/v1/policy/", {name: value * 0.9}, format="json").status_code == 200
    assert as_owner.patch("/api/v1/policy/", {name: value * 0.8}, format="json").status_code == 200
    changes = [entry["details"]["changes"][name] for entry in entries(as_owner, did="change policy")]
    assert changes == [
        {"old": pytest.approx(value * 0.9), "new": pytest.approx(value * 0.8)},
        {"old": None, "new": pytest.approx(value * 0.9)},
    ]


def test_a_member_is_called_by_name_and_a_new_role_told(
    as_owner: APIClient, owner: Membership, installer: Membership
) -> None:
    Membership.objects.filter(pk=owner.pk).update(name="Olga Nord")
    answer = as_owner.patch(f"/api/v1/members/{installer.pk}/", {"role": "office"}, format="json")
    assert answer.status_code == 200
    sentence = entries(as_owner, did="change role")[0]["sentence"]
    assert sentence == "Olga Nord changed the member ines@north.example. Role: office, before installer."


def test_how_to_get_in_is_not_told(as_owner: APIClient, company: Any) -> None:
    site = factories.SiteFactory(company=company, access_notes="code 1379")
    as_owner.patch(f"/api/v1/sites/{site.pk}/", {"access_notes": "code 2468"}, format="json")
    entry = entries(as_owner, about=site.code)[0]
    assert entry["details"] == {"fields": ["access_notes"]}
    assert "1379" not in str(entry)
    assert "2468" not in str(entry)


def test_no_password_stands_in_the_trail(api: APIClient, owner: Membership) -> None:
    api.post("/api/v1/login/", {"email": owner.user.email, "password": PASSWORD}, format="json")
    api.post("/api/v1/login/", {"email": owner.user.email, "password": "otter-17-guess"}, format="json")
    stored = str(list(AuditEntry.objects.values()))
    assert AuditEntry.objects.count() == 3
    assert PASSWORD not in stored
    assert "otter-17-guess" not in stored


@pytest.mark.parametrize("door", ["login", "session"])
def test_who_came_in_and_who_was_refused(
    door: str, api: APIClient, as_owner: APIClient, office: Membership, rival: Membership
) -> None:
    right = {"email": office.user.email, "password": PASSWORD}
    assert api.post(f"/api/v1/{door}/", right, format="json").status_code == 200
    assert api.post(f"/api/v1/{door}/", right | {"password": "wrong"}, format="json").status_code == 401
    assert api.post(f"/api/v1/{door}/", right | {"email": "nobody@nowhere.example"}, format="json").status_code == 401
    (came,) = entries(as_owner, action="sign in")
    (refused,) = entries(as_owner, action="refuse sign-in")
    assert came["sentence"] == "ofer@north.example signed in."
    assert came["membership"] == office.pk
    assert (refused["membership"], refused["subject_id"]) == (None, str(office.pk))
    assert refused["sentence"] == "Somebody tried to sign in as ofer@north.example and was refused."
    assert not AuditEntry.objects.filter(company=rival.company, action="refuse sign-in").exists()


def test_who_posted_a_reading_stands_on_it_and_in_the_trail(
    as_owner: APIClient, as_installer: APIClient, installer: Membership, company: Any
) -> None:
    unit = factories.UnitFactory(company=company, code="S05-1")
    row = {"unit": "S05-1", "taken_at": "2026-03-01T10:00:00Z", "inlet_pressure": "4 bar"}
    reading = as_installer.post("/api/v1/readings/", row, format="json").json()
    assert reading["recorded_by"] == installer.pk
    (entry,) = entries(as_owner, did="post reading", membership=installer.pk)
    assert (entry["subject_kind"], entry["subject_id"]) == ("reading", str(reading["id"]))
    assert entry["sentence"] == "ines@north.example posted the reading S05-1, 2026-03-01 10:00 UTC."
    several = [row | {"taken_at": f"2026-03-0{day}T10:00:00Z"} for day in (2, 3)]
    assert as_installer.post("/api/v1/readings/", several, format="json").status_code == 201
    assert entries(as_owner, action="post readings")[0]["details"]["stored"] == 2
    assert unit.readings.filter(recorded_by=installer).count() == 3
    listed = as_owner.get("/api/v1/readings/", {"recorded_by": installer.pk}).json()["results"]
    assert len(listed) == 3


def test_a_meter_leaves_no_entry_for_each_of_its_readings(api_for: Any, owner: Membership, company: Any) -> None:
    unit = factories.UnitFactory(company=company)
    meter = api_for(owner, meter_unit_id=unit.pk)
    answer = meter.post(f"/api/v1/units/{unit.pk}/readings/", {"inlet_pressure": "4 bar"}, format="json")
    assert answer.status_code == 201
    assert not AuditEntry.objects.filter(action__startswith="post").exists()


def test_every_action_begins_with_a_verb_that_has_a_sentence() -> None:
    """Those written out in the code; whatever is put together begins with the verbs of a viewset."""
    pattern = re.compile(r"""action=f?"([a-z]+) [a-z]|_(?:save|note)\(\w+, \w+, "([a-z]+) """)
    verbs = {
        one or other
        for room in ("accounts", "fleet", "scheduling")
        for path in (ROOT / room).rglob("*.py")
        for one, other in pattern.findall(path.read_text())
    }
    assert len(verbs) > 20
    assert verbs - set(trail_words._DID) == set()


def test_what_is_put_right_is_told_of_its_unit_in_words_with_old_and_new(
    company: Any, as_office: APIClient, as_owner: APIClient
) -> None:
    item = factories.CatalogueItemFactory(company=company, code="SED-5", kind="sediment")
    placement = factories.PlacementFactory(
        position__unit__company=company,
        position__unit__code="S05-1",
        position__unit__commissioned_on=date(2024, 1, 1),
        position__stage="sediment",
        position__role="single",
        item=item,
        placed_at=datetime(2025, 3, 1, 9, tzinfo=UTC),
    )
    body = {"placed_at": "2025-03-02T09:00:00Z", "reason": "The invoice says the second."}
    corrected = as_office.post(f"/api/v1/placements/{placement.pk}/correct/", body, format="json")
    assert corrected.status_code == 200, corrected.content
    entry = entries(as_owner, about="S05-1", did="correct")[0]
    assert entry["subject_name"] == "S05-1, sediment filter: SED-5 from 2025-03-02"
    assert "Placed at: 2025-03-02T09:00:00+00:00, before 2025-03-01T09:00:00+00:00." in entry["sentence"]
    assert entry["sentence"].endswith("Reason: The invoice says the second.")
    assert entries(as_owner, about="S05") == []
