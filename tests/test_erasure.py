"""Erasing a client: no word of the person is left in any table and behind any route; what was measured stays."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.db import models
from rest_framework.test import APIClient

from accounts.models import AccessToken, AuditEntry, Client, Membership, StoredAnswer, User
from fleet.models import FeedWaterSample, Forecast, PastOwnership, Placement, Reading, RefusedRow, Unit
from scheduling.models import Message, Need, ServicePhoto, ServiceRecord, Visit
from scheduling.services.erasure import BLANKED, DELETED, KEPT, QUOTING, RENAMED
from tests import factories
from tests.routes import every_route
from tests.rows import FACTORIES

WORD = "zqxv"
NAME = "Zqxv Harbour Bar"
NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)

# Texts that are the company's own, of a library, or measures and codes; why no word of a client is in them.
OWN = "the company writes it of itself, of what it buys or of its people"
CODES = "codes, keys and measures that the product writes"
TRADE = "it says what water or which part it is, and of nobody who they are"
TECHNICAL: dict[str, tuple[str, str]] = {
    "Company": ("name currency time_zone phone email address tax_number second_factor_roles", OWN),
    "AuditEntry": ("action subject_kind subject_id", CODES),
    "TryCount": ("key", CODES),
    "KnownPlace": ("key", CODES),
    "RequestCount": ("key", CODES),
    "SentWithoutKey": ("key", CODES),
    "SecondFactor": ("key next_key", CODES),
    "RecoveryCode": ("digest", CODES),
    "WebhookEndpoint": ("name url events salt earlier_salt", OWN),
    "WebhookDelivery": ("message_id subject says", CODES),
    "Job": ("kind", CODES),
    "StepTime": ("kind step", CODES),
    "Site": ("time_zone supply", TRADE),
    "Unit": ("assumed", CODES),
    "Instrument": ("measures", CODES),
    "Supplier": ("name closed_weekdays order_weekdays email customer_number ship_to", OWN),
    "CatalogueItem": ("code name price_breaks supplier_part_number assumed retired_reason", OWN),
    "PartsRule": ("work", OWN),
    "IntakeBatch": ("digest", CODES),
    "FeedWaterSample": ("supply as_sent flags", TRADE),
    "Reading": ("observations as_sent flags", CODES),
    "Finding": ("rule cause", CODES),
    "Placement": ("serial_or_lot", TRADE),
    "Forecast": ("date_grid daily_load_unit made_from", CODES),
    "FleetLesson": ("learned", CODES),
    "UnitReview": ("indicators_of findings_of findings_left", CODES),
    "WorkReview": ("made_of left", CODES),
    "ForecastScore": ("group", CODES),
    "ReadingIndicators": ("values uncertainties reasons", CODES),
    "Need": ("key cause skills reads cost_curve", CODES),
    "Installer": ("name van time_zone weekdays skills retired_reason", OWN),
    "Visit": ("skills confirmed_units offers declined costs", CODES),
    "ServiceRecord": (
        "work parts leftover readings before",
        "the notes of the work are emptied one by one; the rest are codes",
    ),
    "VisitAddition": ("parts", CODES),
    "Message": ("event email", CODES),
    "Plan": ("digest effort travel_source costs", CODES),
    "Round": ("costs", CODES),
    "PurchaseOrder": ("supplier_reference", OWN),
    "PurchaseOrderLine": ("supplier_part_number", OWN),
    "Delivery": ("pieces", CODES),
    "StockLevel": ("lots shelf", OWN),
    "StockMovement": ("lots", CODES),
    "MessageDocument": ("media_type content name", "orders to suppliers, which name no client"),
    "CompanyPolicy": ("settings", CODES),
    "Invoice": ("currency seller_name seller_address seller_tax_number", OWN),
    "RoadCalibration": ("road sentence", CODES),
}


QUOTED = f"Told {NAME.upper()}."
A_VISIT = {"visit": 1, "site": 1, "site_code": "S1", "site_name": NAME, "day": "2026-03-01"}
# JSON as the product keeps it, naming the client where it names somebody.
JSON: dict[tuple[str, str], Any] = {
    ("Job", "problem"): {"code": "failed", "sentence": QUOTED},
    ("Plan", "faults"): [{"code": "late", "sentence": QUOTED, "installer": "", "day": 0, "visit": "1"}],
    ("Plan", "happened"): [{"kind": "overrun", "visit": 1, "minutes": 5, "note": QUOTED}],
    ("Plan", "differences"): [
        {
            "visit": 1,
            "site_name": NAME,
            "kind": "added",
            "sentence": QUOTED,
            "tell_client": False,
            "tell_installers": [],
        }
    ],
    ("PurchaseOrderLine", "wanted_for"): [{**A_VISIT, "pieces": 1}],
    ("PartsLine", "reasons"): [{**A_VISIT, "quantity": 1, "missing": 0}],
    ("Forecast", "evidence"): {},
    ("Finding", "numbers"): {"of": QUOTED},
}


def own_models() -> list[type[Any]]:
    rooms = ("accounts.", "fleet.", "scheduling.")
    return [model for model in apps.get_models() if model.__module__.startswith(rooms)]


def texts_of(model: type[Any]) -> set[str]:
    kinds = (models.CharField, models.TextField, models.JSONField, models.BinaryField)
    return {field.name for field in model._meta.concrete_fields if isinstance(field, kinds) and not field.choices}


def test_somebody_has_decided_on_every_text_that_is_stored() -> None:
    for model in own_models():
        if model in DELETED or model is User:
            continue
        decided = {name for table in (BLANKED, RENAMED, QUOTING, KEPT) for name in table.get(model, ())}
        technical = set(TECHNICAL.get(model.__name__, ("", ""))[0].split())
        assert decided | technical >= texts_of(model), model
        assert not technical & decided, model


def fill(row: Any) -> Any:
    """Put an unmistakable word into each text of a row that people write, and the client's name where it is quoted."""
    model = type(row)
    values: dict[str, Any] = {}
    for name in (*BLANKED.get(model, ()), *RENAMED.get(model, ())):
        field = model._meta.get_field(name)
        text = f"{WORD} {name} {row.pk}"
        if isinstance(field, models.EmailField):
            text = f"{WORD}{row.pk}@client.example"
        values[name] = text[: field.max_length]
    for name in QUOTING.get(model, ()):
        field = model._meta.get_field(name)
        if name not in values:
            is_json = isinstance(field, models.JSONField)
            values[name] = JSON.get((model.__name__, name), {"of": [QUOTED]}) if is_json else QUOTED
    if values:
        model._base_manager.filter(pk=row.pk).update(**values)
    return row


@pytest.fixture
def unit(first_client: Client, as_owner: APIClient, client_member: Membership) -> Any:
    """A unit of a client with one of everything, words of theirs in every text, and rows that quote them."""
    company = first_client.company
    unit = factories.UnitFactory(site__client=first_client)
    unit.site.refresh_from_db()
    position = factories.PositionFactory(unit=unit)
    placement = factories.PlacementFactory(position=position)
    reading = factories.ReadingFactory(unit=unit, permeate_tds_mg_per_l=7.5, recorded_by=client_member)
    visit = factories.VisitFactory(site=unit.site, state="done", closed_at=NOON)
    need = factories.NeedFactory(unit=unit, company=company, source="person", state="done")
    report = factories.ServiceRecordFactory(
        site=unit.site, visit=visit, work=[{"action": "inspect", "note": f"{WORD} was at home"}], confirmed_at=NOON
    )
    photo = factories.ServicePhotoFactory(record=report, caption=WORD)
    photo.file.save("photo.png", ContentFile(WORD.encode()))
    seen = factories.ReadingPhotoFactory(reading=reading, caption=WORD)
    seen.file.save("photo.png", ContentFile(WORD.encode()))
    others = [
        factories.ReadingIndicatorsFactory(reading=reading),
        factories.FeedWaterSampleFactory(site=unit.site),
        factories.FindingFactory(unit=unit, position=position),
        factories.ForecastFactory(position=position, placement=placement),
        factories.InstrumentFactory(unit=unit),
        factories.VisitTaskFactory(visit=visit, need=need),
        factories.AccessExceptionFactory(site=unit.site, reason=WORD),
        factories.MessageFactory(company=company, client=first_client, audience="client", visit=visit, email=WORD),
        factories.MessageFactory(company=company, client=None, audience="office", visit=visit),
        factories.AccessTokenFactory(membership=client_member, name=WORD),
    ]
    for row in (unit, unit.site, position, placement, reading, visit, need, report, *others):
        fill(row)
    # The names last, for the rows that quote them; the trail hears of each change.
    sent = {"name": NAME, "email": f"{WORD}@client.example", "phone": f"{WORD} 555 0100", "notes": f"{WORD} pays late"}
    assert as_owner.patch(f"/api/v1/clients/{first_client.pk}/", sent, format="json").status_code == 200
    User.objects.filter(pk=client_member.user_id).update(
        email=f"{WORD}@her.example", username=f"{WORD}@her.example", first_name=WORD
    )
    Membership.objects.filter(pk=client_member.pk).update(name=f"Zara {WORD}")
    # What the rest of the company says of them.
    quoting = [model for model in QUOTING if model in FACTORIES and model.CLIENT_PATH is None]
    for model in quoting:
        path = model.TENANT_PATH.removesuffix("_id")
        fill(FACTORIES[model](**{path: company}))
    AuditEntry.objects.create(
        company=company, at=NOON, action="rename client", subject_kind="client", subject_id="0", subject_name=NAME
    )
    StoredAnswer.objects.create(
        company=company,
        membership=as_owner.owner
        if hasattr(as_owner, "owner")
        else Membership.objects.get(role="owner", company=company),
        key="k",
        route="r",
        body_digest="d",
        status=201,
        body=json.dumps({"note": f"{WORD} note {reading.pk}"}).encode(),
        created_at=NOON,
    )
    RefusedRow.objects.create(
        batch=factories.IntakeBatchFactory(company=company, name=f"log of {NAME}.csv"),
        line=2,
        row={"unit": Unit.objects.get(pk=unit.pk).code, "person": WORD},
        faults=[],
    )
    return Unit.objects.get(pk=unit.pk)


def erase(api: APIClient, client: Client, name: str = NAME) -> Any:
    return api.post(f"/api/v1/client-data/{client.pk}/erase/", {"name": name}, format="json")


def left_in_tables() -> Iterator[str]:
    """Each column of each table that still holds the word."""
    for model in apps.get_models():
        columns = [field.attname for field in model._meta.concrete_fields]
        for row in model._base_manager.values(*columns):
            for name, value in row.items():
                text = bytes(value).decode(errors="replace") if isinstance(value, bytes | memoryview) else str(value)
                if WORD in text.casefold():
                    yield f"{model.__name__}.{name}: {text[:200]}"


def test_no_word_of_the_person_is_left_and_what_was_measured_stays(
    unit: Any, first_client: Client, as_owner: APIClient, as_client: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    photo = ServicePhoto.objects.get()
    storage, name = photo.file.storage, photo.file.name
    assert storage.exists(name)
    kept = {
        model: model._base_manager.count() for model in (Reading, Placement, FeedWaterSample, Forecast, ServiceRecord)
    }
    seeded = {each.partition(":")[0] for each in left_in_tables()}
    assert {"Client.name", "Site.access_notes", "Reading.note", "AuditEntry.details", "Plan.happened"} <= seeded
    with django_capture_on_commit_callbacks(execute=True):
        answer = erase(as_owner, first_client)
    assert answer.status_code == 200, answer.content
    body = answer.json()
    assert (body["client"], body["sites"], body["units"]) == (first_client.pk, 1, 1)
    assert (body["people"], body["pictures"], body["letters"]) == (1, 2, 2)
    assert list(left_in_tables()) == []
    assert not storage.exists(name)
    assert {model: model._base_manager.count() for model in kept} == kept
    assert Reading.objects.get(unit=unit).permeate_tds_mg_per_l == 7.5
    assert as_client.get("/api/v1/me/").status_code == 401
    for route in every_route():
        if route.method != "GET" or not getattr(route.view_class, "resource", None):
            continue
        model = route.view_class.queryset.model if route.view_class.queryset is not None else None
        keys = (
            [""]
            if "<pk>" not in route.path
            else list(model._base_manager.values_list("pk", flat=True))
            if model
            else []
        )
        for key in keys:
            said = as_owner.get(route.path.replace("<pk>", str(key)), HTTP_ACCEPT="*/*")
            content = b"".join(said.streaming_content) if said.streaming else said.content
            assert said.status_code < 500, route
            assert WORD not in content.decode(errors="ignore").casefold(), route


def test_the_trail_says_that_it_was_done(
    unit: Any, first_client: Client, as_owner: APIClient, owner: Membership
) -> None:
    assert erase(as_owner, first_client).status_code == 200
    entry = AuditEntry.objects.order_by("-pk").first()
    assert entry is not None
    assert (entry.action, entry.membership_id) == ("erase client", owner.pk)
    row = as_owner.get(f"/api/v1/audit-entries/{entry.pk}/").json()
    assert row["sentence"].endswith(f"erased who the client erased-{first_client.pk} was.")
    # What was done before is told still, of nobody.
    changed = as_owner.get(
        "/api/v1/audit-entries/",
        {"action": "update client", "subject_kind": "client", "subject_id": str(first_client.pk)},
    ).json()["results"][-1]
    assert (changed["subject_name"], changed["details"]) == (f"erased-{first_client.pk}", {})


def test_the_units_are_out_of_use_and_nothing_is_planned_for_them(
    unit: Any, first_client: Client, as_owner: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    factories.NeedFactory(unit=unit, company=unit.company, state="open", key="n1")
    factories.VisitFactory(site=unit.site, state="proposed")
    with django_capture_on_commit_callbacks(execute=True):
        assert erase(as_owner, first_client).status_code == 200
    gone = {"units": unit.pk, "sites": unit.site_id, "clients": first_client.pk}
    for kind, key in gone.items():
        assert key not in [row["id"] for row in as_owner.get(f"/api/v1/{kind}/").json()["results"]], kind
    assert unit.pk not in [row["unit"] for row in as_owner.get("/api/v1/instruments/").json()["results"]]
    unit.refresh_from_db()
    assert unit.retired_on is not None
    assert not Need.objects.filter(unit=unit, state="open").exists()
    assert not Visit.objects.filter(site=unit.site, state="proposed").exists()


@pytest.mark.parametrize("state", ["offered", "confirmed", "on_the_way", "in_progress"])
def test_it_is_refused_while_somebody_counts_on_a_visit(
    state: str, unit: Any, first_client: Client, as_owner: APIClient
) -> None:
    visit = factories.VisitFactory(site=unit.site, state=state, appointment_at=NOON)
    answer = erase(as_owner, first_client)
    assert (answer.status_code, answer.json()["code"]) == (409, "visits_open")
    assert f"{visit.pk} (" in answer.json()["detail"]
    assert "/cancel/" in answer.json()["detail"]
    assert Client.objects.get(pk=first_client.pk).name == NAME
    assert Message.objects.filter(client=first_client).exists()


def test_a_slip_erases_nobody_and_nobody_is_erased_twice(unit: Any, first_client: Client, as_owner: APIClient) -> None:
    answer = erase(as_owner, first_client, "Another Name")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "/name")
    assert NAME in answer.json()["errors"][0]["detail"]
    assert erase(as_owner, first_client).status_code == 200
    again = erase(as_owner, first_client)
    assert (again.status_code, again.json()["code"]) == (409, "erased_already")


def test_what_belongs_to_others_keeps_its_words(
    unit: Any, first_client: Client, second_client: Client, as_owner: APIClient, client_member: Membership
) -> None:
    # A name that others have as well identifies nobody.
    type(unit.site).objects.filter(pk=unit.site_id).update(name="Kitchen")
    other = factories.UnitFactory(site__client=second_client, site__name="Kitchen", notes="Behind the Kitchen door")
    finding = factories.FindingFactory(unit=other, client_sentence="In the Kitchen it runs.")
    told = AuditEntry.objects.create(
        company=unit.company, at=NOON, action="update site", subject_kind="site", subject_id="0", subject_name="Kitchen"
    )
    elsewhere = factories.MembershipFactory(user=client_member.user, role="office")
    assert erase(as_owner, first_client).status_code == 200
    for row in (other, other.site, finding, told):
        row.refresh_from_db()
    assert (other.site.name, other.notes) == ("Kitchen", "Behind the Kitchen door")
    assert (finding.client_sentence, told.subject_name) == ("In the Kitchen it runs.", "Kitchen")
    assert Membership.objects.filter(pk=elsewhere.pk).exists()
    assert not AccessToken.objects.filter(membership=client_member.pk).exists()


def test_the_people_of_the_time_before_are_not_the_clients_to_erase(
    unit: Any, first_client: Client, second_client: Client, as_owner: APIClient
) -> None:
    """The unit came from another client, whose own time keeps its people."""
    PastOwnership.objects.create(company=unit.company, client=second_client, unit=unit, until=NOON)
    Unit.objects.filter(pk=unit.pk).update(client_since=NOON)
    before = factories.ReadingFactory(unit=unit, taken_at=NOON.replace(month=2), person="Wilma Ahead", reference="a")
    after = factories.ReadingFactory(unit=unit, taken_at=NOON.replace(month=4), person="Bruno Later", reference="b")
    assert erase(as_owner, first_client).status_code == 200
    before.refresh_from_db()
    after.refresh_from_db()
    assert (before.person, after.person) == ("Wilma Ahead", "")
