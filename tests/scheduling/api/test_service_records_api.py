"""Service records over the API."""

import re
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image
from rest_framework.test import APIClient

from accounts.models import Client, Membership
from fleet.models import Placement, Reading, Unit
from scheduling.models import Installer, ServicePhoto, ServiceRecord, StockLevel, Visit
from scheduling.services.work import photos as service_photos
from tests import factories
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
    body = first.json()
    assert body["work"][0]["item"] == town.item("carbon").pk
    assert body["parts"] == [
        {"item": town.item("carbon").pk, "quantity": 1, "from_van": 0, "from_store": 0, "uncounted": 1}
    ]
    assert as_installer.get(f"/api/v1/visits/{body['visit']}/").json()["state"] == "done"
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
    foreign_town = Town(rival.company)
    foreign = foreign_town.unit()
    row = _body(town, unit)["work"][0]
    as_installer.defaults["HTTP_X_REQUEST_ID"] = "one-and-the-same"  # the answer names its request
    for name, pk in (("unit", foreign.pk), ("position", foreign_town.position(foreign, "carbon").pk)):
        answers = []
        for number in (pk, 999_999):
            refused = as_installer.post(ADDRESS, _body(town, unit, work=[{**row, name: number}]), format="json")
            assert refused.status_code == 400
            answers.append(re.sub(rf"\b{number}\b", "...", refused.content.decode()))
        assert answers[0] == answers[1]
    assert not ServiceRecord.objects.exists()


def _picture(kind: str = "PNG", size: tuple[int, int] = (3, 2)) -> SimpleUploadedFile:
    out = BytesIO()
    Image.new("RGB", size, (10, 20, 30)).save(out, kind)
    return SimpleUploadedFile("../../evil.html", out.getvalue(), content_type="text/html")


def test_pictures_are_kept_once_and_read_by_those_who_may_see_the_report(
    as_installer: APIClient,
    as_client: APIClient,
    as_other_client: APIClient,
    as_rival: APIClient,
    town: Town,
    unit: Unit,
    settings: Any,
) -> None:
    record = as_installer.post(ADDRESS, _body(town, unit), format="json").json()
    address = f"{ADDRESS}{record['id']}/photos/"
    sent = as_installer.post(address, {"file": _picture(), "caption": "Old cartridge"}, format="multipart")
    assert sent.status_code == 201, sent.content
    picture = sent.json()
    assert (picture["media_type"], picture["width"], picture["height"], picture["kind"]) == ("image/png", 3, 2, "photo")
    again = as_installer.post(address, {"file": _picture(), "caption": "Old cartridge"}, format="multipart")
    assert (again.status_code, again.json()) == (200, picture)
    signed = as_installer.post(address, {"file": _picture("JPEG"), "kind": "signature"}, format="multipart")
    assert signed.json()["kind"] == "signature"
    assert [photo["id"] for photo in as_client.get(f"{ADDRESS}{record['id']}/").json()["photos"]] == [
        picture["id"],
        signed.json()["id"],
    ]
    image = f"/api/v1/service-photos/{picture['id']}/image/"
    for reader in (as_installer, as_client):
        answer = reader.get(image, headers={"Accept": "image/*"})
        assert (answer.status_code, answer.headers["Content-Type"]) == (200, "image/png")
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert Image.open(BytesIO(answer.content)).size == (3, 2)
    for nobody in (as_other_client, as_rival):
        assert nobody.get(image).status_code == 404
        assert nobody.post(address, {"file": _picture()}, format="multipart").status_code in (403, 404)
    photo = ServicePhoto.objects.get(pk=picture["id"])
    # the sender's name of a file never reaches the disk
    assert photo.file.name == f"company-{town.company.pk}/record-{record['id']}/{photo.digest}.png"
    assert Path(photo.file.path).is_relative_to(settings.MEDIA_ROOT)


@pytest.mark.parametrize(
    ("other", "sentence"),
    [
        ({"caption": "New cartridge"}, "with caption 'Old cartridge', not 'New cartridge'."),
        ({}, "with caption 'Old cartridge', and none was sent."),
        ({"caption": "Old cartridge", "kind": "signature"}, "with kind 'photo', not 'signature'."),
    ],
)
def test_a_picture_sent_again_with_other_words_is_refused(
    as_installer: APIClient, town: Town, unit: Unit, other: dict[str, str], sentence: str
) -> None:
    record = as_installer.post(ADDRESS, _body(town, unit), format="json").json()
    address = f"{ADDRESS}{record['id']}/photos/"
    picture = as_installer.post(address, {"file": _picture(), "caption": "Old cartridge"}, format="multipart").json()
    refused = as_installer.post(address, {"file": _picture(), **other}, format="multipart")
    assert (refused.status_code, refused.json()["code"]) == (409, "reference_conflict"), refused.content
    (fault,) = refused.json()["errors"]
    assert fault == {
        "pointer": f"/{'kind' if 'kind' in other else 'caption'}",
        "detail": f"This picture is stored {sentence}",
    }
    kept = ServicePhoto.objects.get()
    assert (kept.pk, kept.kind, kept.caption) == (picture["id"], "photo", "Old cartridge")


@pytest.mark.parametrize(
    "content",
    [b"", b"<html><script>alert(1)</script></html>", b"\x89PNG\r\n\x1a\n" + b"\x00" * 40, b"GIF89a" + b"\x00" * 40],
)
def test_what_is_no_picture_is_refused(as_installer: APIClient, town: Town, unit: Unit, content: bytes) -> None:
    record = as_installer.post(ADDRESS, _body(town, unit), format="json").json()
    file = SimpleUploadedFile("photo.png", content, content_type="image/png")
    refused = as_installer.post(f"{ADDRESS}{record['id']}/photos/", {"file": file}, format="multipart")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/file"]
    assert not ServicePhoto.objects.exists()


def test_a_picture_that_is_too_large_is_refused(
    as_installer: APIClient, town: Town, unit: Unit, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = as_installer.post(ADDRESS, _body(town, unit), format="json").json()
    for limit in ("MOST_BYTES", "MOST_PIXELS"):
        with monkeypatch.context() as patch:
            patch.setattr(service_photos, limit, 5)
            refused = as_installer.post(f"{ADDRESS}{record['id']}/photos/", {"file": _picture()}, format="multipart")
        assert refused.status_code == 400
        assert "at most 5" in refused.json()["errors"][0]["detail"]


def test_the_whole_report_in_one_call(as_installer: APIClient, town: Town, unit: Unit) -> None:
    body = _body(
        town,
        unit,
        readings=[{"unit": unit.pk, "occasion": "as_left", "permeate_tds": "8 ppm", "permeate_flow": "75 gpd"}],
        leftover=[{"item": town.item("carbon").pk, "quantity": 1}],
        confirmed_by="Mara Quell",
        confirmed_at="2026-03-02T04:55:00+01:00",
    )
    answer = as_installer.post(ADDRESS, body, format="json")
    assert answer.status_code == 201, answer.content
    assert (answer.json()["confirmed_by"], answer.json()["confirmed_at"]) == ("Mara Quell", "2026-03-02T03:55:00Z")
    (reading,) = answer.json()["readings"]
    assert as_installer.get(f"/api/v1/readings/{reading}/").json()["occasion"] == "as_left"
    assert as_installer.post(ADDRESS, body, format="json").json() == answer.json()
    same = {**body, "done_at": "2026-03-02T03:50:00Z", "confirmed_at": None}
    same["readings"] = [{**body["readings"][0], "permeate_tds": "8.0 ppm"}]
    same["work"] = [{**body["work"][0], "item": answer.json()["work"][0]["item"]}]
    same["parts"] = [{name: part[name] for name in ("item", "quantity")} for part in answer.json()["parts"]]
    again = as_installer.post(ADDRESS, same, format="json")
    assert (again.status_code, again.json()) == (200, answer.json()), again.content
    work, other = body["work"][0], town.item("sediment").pk

    def everything() -> list[Any]:
        models: tuple[Any, ...] = (Reading, ServiceRecord, StockLevel, Placement)
        return [list(model.objects.order_by("pk").values()) for model in models]

    before = everything()
    for change, pointer in (
        ({"minutes": 41}, "/minutes"),
        ({"note": "a drop"}, "/note"),
        ({"confirmed_by": "Somebody"}, "/confirmed_by"),
        ({"confirmed_at": "2026-03-02T04:56:00+01:00"}, "/confirmed_at"),
        ({"done_at": "2026-03-02T04:51:00+01:00"}, "/done_at"),
        ({"visit": None}, "/visit"),
        ({"work": [{**work, "serial_or_lot": "L-10"}]}, "/work/0/serial_or_lot"),
        ({"work": [{**work, "removal": "damaged"}]}, "/work/0/removal"),
        ({"work": [{**work, "item": other}]}, "/work/0/item"),
        ({"work": [work, {"action": "inspect", "unit": unit.pk}]}, "/work"),
        ({"parts": [{"item": other, "quantity": 2}]}, "/parts"),
        ({"leftover": []}, "/leftover"),
        ({"readings": [{**body["readings"][0], "permeate_tds": "9 ppm"}]}, "/readings/0/permeate_tds"),
        ({"readings": [*body["readings"], {"unit": unit.pk, "feed_tds": "9 ppm"}]}, "/readings"),
        ({"readings": []}, "/readings"),
    ):
        refused = as_installer.post(ADDRESS, {**body, **change}, format="json")
        assert (refused.status_code, refused.json()["code"]) == (409, "reference_conflict"), (change, refused.content)
        assert pointer in [fault["pointer"] for fault in refused.json()["errors"]], (change, refused.content)
        after = [
            list(model.objects.order_by("pk").values()) for model in (Reading, ServiceRecord, StockLevel, Placement)
        ]
        assert after == before
    for change, pointer in (
        ({"readings": [{"unit": unit.pk, "permeate_tds": 8}]}, "/readings/0/permeate_tds"),
        ({"readings": [{"unit": unit.pk, "colour": "red"}]}, "/readings/0/colour"),
        ({"readings": "none"}, "/readings"),
        ({"leftover": [{"item": 987654, "quantity": 1}]}, "/leftover/0/item"),
        ({"leftover": [{"item": town.item("carbon").pk, "quantity": 0}]}, "/leftover/0/quantity"),
        ({"not_done": [{"need": 987654, "reason": "x"}]}, "/not_done/0/need"),
        ({"confirmed_at": "soon"}, "/confirmed_at"),
    ):
        # five minutes after the first report, as nothing can be replaced twice at one moment
        correction = {"reference": "other", "follows": "correction", "done_at": "2026-03-02T03:55:00Z"}
        refused = as_installer.post(ADDRESS, {**body, "visit": None, **correction, **change}, format="json")
        assert refused.status_code == 400, refused.content
        assert pointer in [fault["pointer"] for fault in refused.json()["errors"]]
    assert ServiceRecord.objects.count() == 1


def test_a_record_that_keeps_less_than_a_report_says_is_told_as_another_one(
    as_office: APIClient, town: Town, unit: Unit
) -> None:
    body = _body(town, unit)
    factories.ServiceRecordFactory(site=unit.site, reference=body["reference"], work=[{"action": "inspect"}])
    refused = as_office.post(ADDRESS, body, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "reference_conflict"), refused.content
    assert any(fault["pointer"] == "/work/0/unit" for fault in refused.json()["errors"])
