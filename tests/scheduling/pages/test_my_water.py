"""The client's pages say what the API says, and do what it does."""

import csv
import html
import io
import re
import zipfile
from datetime import timedelta
from io import BytesIO
from urllib.parse import urlencode

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client as Browser
from django.test import TestCase
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from PIL import Image
from pypdf import PdfReader
from rest_framework.test import APIClient

from accounts.language import speak
from accounts.models import Client, Company, Membership
from fleet.models import Finding, Reading
from fleet.pages.plot import SCHEMES
from fleet.services.status import Change
from scheduling.models import Message, ReadingPhoto, Visit
from scheduling.services.needs.needs import refresh_needs
from tests import factories
from tests.pages import signed_in, text_of
from tests.pseudo_language import PSEUDO
from tests.watched_unit import Watched, watched_unit

pytestmark = pytest.mark.interface


@pytest.fixture
def watched(company: Company, first_client: Client, office: Membership) -> Watched:
    return watched_unit(company, first_client, office, timezone.now())


@pytest.fixture
def clara(client_member: Membership) -> Browser:
    return signed_in(client_member)


def page_of(person: Browser, watched: Watched) -> str:
    response = person.get(f"/my-water/{watched.unit.pk}/")
    assert response.status_code == 200
    return text_of(response)


def words_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_the_page_says_what_the_status_of_the_unit_says(clara: Browser, as_client: APIClient, watched: Watched) -> None:
    status = as_client.get(f"/api/v1/units/{watched.unit.pk}/status/").json()
    words = words_of(page_of(clara, watched))
    assert status["water"] == "good"
    assert "Your water is good" in words
    assert status["sentence"] in words
    assert "by Clara First. Value 0.5 mg/L, limit 2 mg/L." in words
    for caution in status["cautions"]:
        assert caution in words
    Reading.objects.update(product_tds_mg_per_l=50.0)
    assert "Your water is not good" in words_of(page_of(clara, watched))
    Reading.objects.all().delete()
    words = words_of(page_of(clara, watched))
    assert "We do not know whether your water is good" in words
    assert "Nothing was read yet." in words


def test_nobody_is_asked_to_let_a_unit_run_that_should_be_shut(clara: Browser, watched: Watched) -> None:
    Reading.objects.all().delete()
    asked = "Please read your meter and enter what it shows"
    assert asked in page_of(clara, watched)
    Finding.objects.create(
        unit=watched.unit,
        rule="D66",
        cause="leaks",
        confidence=0.9,
        opened_at=timezone.now(),
        last_seen_at=timezone.now(),
        client_sentence="Your unit leaks. Please close its feed valve now.",
    )
    words = page_of(clara, watched)
    assert "close its feed valve" in words
    assert asked not in words


def test_one_unit_is_shown_at_once_and_several_are_listed(
    clara: Browser, company: Company, first_client: Client, watched: Watched
) -> None:
    assert clara.get("/my-water/").headers["Location"] == f"/my-water/{watched.unit.pk}/"
    second = factories.UnitFactory(company=company, site__client=first_client, name="coffee bar")
    theirs = factories.UnitFactory(company=company, name="somebody else's")
    page = text_of(clara.get("/my-water/"))
    assert f'href="/my-water/{second.pk}/"' in page
    assert theirs.name not in page


def test_what_is_expected_is_a_band_of_days_and_what_is_left_is_said_in_words(clara: Browser, watched: Watched) -> None:
    words = words_of(page_of(clara, watched))
    for position in watched.unit.positions.all():
        assert position.forecasts.get().p10.strftime("%-d %b %Y") in words
    assert "Between" in words
    assert "First resin cartridge : about 60 % left" in words
    assert "Sediment filter : about 15 % left" in words


def test_a_picture_is_drawn_once_and_its_address_says_what_is_in_it(
    clara: Browser, watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(clara, watched)
    addresses = [found.replace("&amp;", "&") for found in re.findall(r'"(/my-water/\d+/plot\.svg\?[^"]+)"', page)]
    assert {address.rpartition("=")[2] for address in addresses} == set(SCHEMES)
    pictures = {address: clara.get(address) for address in addresses}
    for response in pictures.values():
        assert response.headers["Content-Type"] == "image/svg+xml"
        assert "immutable" in response.headers["Cache-Control"]
        assert "Finished water, TDS in mg/L" in text_of(response)
        assert "limit 2" in text_of(response)
    monkeypatch.setattr("fleet.pages.plot._drawn", lambda *_: pytest.fail("drawn twice"))
    assert clara.get(addresses[0]).content == pictures[addresses[0]].content
    assert clara.get(addresses[0].replace("digest=", "digest=0")).status_code == 404
    Reading.objects.filter(permeate_tds_mg_per_l=9.5).update(permeate_tds_mg_per_l=9.75)
    assert addresses[0] not in page_of(clara, watched).replace("&amp;", "&")


def test_a_client_declines_and_the_visit_says_so(clara: Browser, watched: Watched) -> None:
    page = page_of(clara, watched)
    assert page.count('name="opens_at"') == 2
    address = f"/my-water/visits/{watched.visit.pk}/"
    response = clara.post(address, {"answer": "decline", "note": "only after six"}, follow=True)
    assert "The times are declined." in text_of(response)
    assert Visit.objects.get().state == "proposed"
    again = clara.post(address, {"answer": "decline"})
    assert again.status_code == 409
    assert 'role="alert"' in text_of(again)


def test_a_client_accepts_one_of_the_times_and_cancels_it(clara: Browser, watched: Watched) -> None:
    address = f"/my-water/visits/{watched.visit.pk}/"
    opens_at = re.findall(r'name="opens_at" value="([^"]+)"', page_of(clara, watched))[0]
    assert clara.post(address, {"answer": "accept"}).status_code == 400
    assert clara.post(address, {"answer": "shout"}).status_code == 400
    assert Visit.objects.get().state == "offered"
    assert clara.post(address, {"answer": "accept", "opens_at": opens_at}).status_code == 302
    assert Visit.objects.get().state == "confirmed"
    assert "We will come on" in words_of(page_of(clara, watched))
    assert clara.post(address, {"answer": "call_me"}).status_code == 302
    assert clara.post(address, {"answer": "cancel", "note": "ill"}).status_code == 302
    assert Visit.objects.get(pk=watched.visit.pk).state == "cancelled"


def test_a_reading_is_entered_in_the_units_of_ones_own_meter(clara: Browser, watched: Watched) -> None:
    address = f"/my-water/{watched.unit.pk}/reading/"
    page = text_of(clara.get(address))
    assert '<option value="uS/cm" selected>' in page
    assert "Last: 484 µS/cm" in page
    sent = {"feed_tds": "500", "feed_tds_unit": "uS/cm", "product_tds": "0,4", "product_tds_unit": "ppm"}
    response = clara.post(address, {**sent, "person": "Clara"}, follow=True)
    assert "Thank you. Your reading is stored." in text_of(response)
    newest = Reading.objects.order_by("-taken_at").first()
    assert newest is not None
    assert (newest.feed_tds_mg_per_l, newest.product_tds_mg_per_l) == (250.0, 0.4)
    assert (newest.source, newest.person) == ("client", "Clara")


def test_what_cannot_be_is_refused_beside_its_field_and_nothing_is_kept(clara: Browser, watched: Watched) -> None:
    address = f"/my-water/{watched.unit.pk}/reading/"
    before = Reading.objects.count()
    sent = {"feed_tds": "plenty", "feed_tds_unit": "ppm", "inlet_pressure": "600", "inlet_pressure_unit": "bar"}
    response = clara.post(address, sent)
    page = text_of(response)
    assert response.status_code == 400
    assert page.count('aria-invalid="true"') == 2
    assert 'id="id_feed_tds-fault"' in page
    assert 'value="plenty"' in page
    assert clara.post(address, {}).status_code == 400
    assert Reading.objects.count() == before


def test_what_looks_doubtful_is_said_at_once(clara: Browser, watched: Watched) -> None:
    sent = {"feed_tds": "9", "feed_tds_unit": "ppm", "permeate_tds": "250", "permeate_tds_unit": "ppm"}
    response = clara.post(f"/my-water/{watched.unit.pk}/reading/", sent, follow=True)
    newest = Reading.objects.order_by("-taken_at").first()
    assert newest is not None
    assert newest.flags
    assert newest.flags[0]["sentence"] in words_of(text_of(response)).replace("&#x27;", "'")


def test_a_report_of_a_fault_is_looked_at_like_any_reading(clara: Browser, watched: Watched) -> None:
    address = f"/my-water/{watched.unit.pk}/fault/"
    assert "Water runs to the drain and never stops" in text_of(clara.get(address))
    sent = {"observations": ["water_on_floor"], "note": "under the sink", "person": "Clara"}
    response = clara.post(address, sent, follow=True)
    assert "Thank you. We have your report" in text_of(response)
    newest = Reading.objects.order_by("-taken_at").first()
    assert newest is not None
    assert newest.observations == {"water_on_floor": True}
    assert newest.note == "under the sink"
    refused = clara.post(address, {})
    assert refused.status_code == 400
    assert 'role="alert"' in text_of(refused)


def test_a_photo_comes_with_the_report_or_neither_is_stored(clara: Browser, watched: Watched) -> None:
    address = f"/my-water/{watched.unit.pk}/fault/"
    before = Reading.objects.count()
    broken = SimpleUploadedFile("floor.png", b"no picture at all", content_type="image/png")
    refused = clara.post(address, {"observations": ["water_on_floor"], "photo": broken})
    assert refused.status_code == 400
    assert 'id="id_photo-fault"' in text_of(refused)
    assert Reading.objects.count() == before
    drawn = BytesIO()
    Image.new("RGB", (3, 2)).save(drawn, "PNG")
    good = SimpleUploadedFile("floor.png", drawn.getvalue(), content_type="image/png")
    assert clara.post(address, {"observations": ["water_on_floor"], "photo": good}).status_code == 302
    photo = ReadingPhoto.objects.get()
    assert photo.reading.observations == {"water_on_floor": True}
    page = page_of(clara, watched)
    assert "there is water on the floor" in page
    (image,) = re.findall(r'src="(/api/v1/reading-photos/\d+/image/)"', page)
    shown = clara.get(image)
    assert (shown.status_code, shown.headers["Content-Type"]) == (200, "image/png")
    assert Image.open(BytesIO(shown.content)).size == (3, 2)


def test_the_page_can_be_taken_along(clara: Browser, watched: Watched) -> None:
    sheet = clara.get(f"/my-water/{watched.unit.pk}/readings.csv")
    rows = list(csv.DictReader(io.StringIO(sheet.content.decode())))
    assert [row["feed TDS [mg/L]"] for row in rows] == ["242.0", "270.0", "300.0", "330.0"]
    paper = clara.get(f"/my-water/{watched.unit.pk}/water.pdf")
    assert paper.headers["Content-Type"] == "application/pdf"
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(paper.content)).pages)
    for part in ("Your water is good.", "first resin cartridge: between", "Deionised water is not for drinking."):
        assert part in " ".join(text.split())


def test_inner_words_of_the_company_do_not_reach_a_client(
    clara: Browser, as_office: APIClient, watched: Watched
) -> None:
    Visit.objects.update(reason="dear because of the ferry", closing_note="grumpy")
    Reading.objects.update(note="client is grumpy")
    watched.unit.notes = "grumpy"
    watched.unit.save()
    for path in ("", "reading/", "fault/", "readings.csv"):
        page = text_of(clara.get(f"/my-water/{watched.unit.pk}/{path}"))
        assert "grumpy" not in page
        assert "ferry" not in page


def test_a_page_takes_as_many_queries_whatever_was_read_and_done(
    clara: Browser, company: Company, first_client: Client, watched: Watched
) -> None:
    def queries(path: str) -> int:
        clara.get(path)
        with CaptureQueriesContext(connection) as made:
            assert clara.get(path).status_code == 200
        return len(made)

    def work(reference: str) -> None:
        site = watched.unit.site
        factories.ServiceRecordFactory(company=company, site=site, reference=reference, done_at=timezone.now())

    path = f"/my-water/{watched.unit.pk}/"
    work("first")
    before = queries(path)
    for days in range(3, 60):
        factories.ReadingFactory(unit=watched.unit, taken_at=timezone.now() - timedelta(days=days))
    for number in range(3):
        work(f"further {number}")
    assert queries(path) == before
    factories.UnitFactory(company=company, site__client=first_client)
    few = queries("/my-water/")
    for _ in range(20):
        factories.UnitFactory(company=company, site__client=first_client)
    assert queries("/my-water/") == few


def test_every_sentence_of_the_pages_can_be_translated(clara: Browser, watched: Watched) -> None:
    for path in ("", "reading/", "fault/"):
        with speak(PSEUDO):
            page = text_of(clara.get(f"/my-water/{watched.unit.pk}/{path}"))
        main = page[page.index("<main") : page.index("</main>")]
        sentences = re.findall(r">([^<>]*[a-z]{3,} [a-z]{2,} [a-z]{2,}[^<>]*)<", main)
        # What was stored in English before another language was spoken stays in it.
        assert [text for text in sentences if "Your " not in text] == []


def test_what_is_asked_for_without_a_meter_is_answered_with_yes_and_no(clara: Browser, watched: Watched) -> None:
    page = f"/my-water/{watched.unit.pk}/reading/"
    assert "I did not look" not in clara.get(page).content.decode(), "nothing is asked"
    Reading.objects.filter(unit=watched.unit).delete()
    refresh_needs(company=watched.unit.company, now=timezone.now())
    shown = clara.get(page).content.decode()
    assert "The tank or container fills slowly" in shown
    sent = clara.post(page, {"water_on_floor": "no", "slow_filling": "yes", "taste_or_odour": ""})
    assert sent.status_code == 302, sent.content
    assert Reading.objects.get().observations == {"water_on_floor": False, "slow_filling": True}
    refresh_needs(company=watched.unit.company, now=timezone.now())
    assert "I did not look" not in clara.get(page).content.decode(), "it is answered"


def test_everything_that_is_kept_is_saved_from_a_page_that_asks_who_it_is(clara: Browser, watched: Watched) -> None:
    """The archive asks for a proof of late: a client is led to a page for it, and not to a problem in JSON."""
    page = text_of(clara.get(f"/my-water/{watched.unit.pk}/"))
    assert "/api/v1/client-data/" not in page
    assert 'href="/my-water/archive/"' in page
    assert 'href="/my-water/archive.zip"' in text_of(clara.get("/my-water/archive/"))
    archive = clara.get("/my-water/archive.zip")
    assert archive.headers["Content-Type"] == "application/zip"
    with zipfile.ZipFile(BytesIO(b"".join(archive.streaming_content))) as kept:
        assert "readings.csv" in kept.namelist()
    with time_machine.travel(timezone.now() + timedelta(minutes=16)):
        for path in ("/my-water/archive/", "/my-water/archive.zip"):
            led = clara.get(path)
            assert led.headers["Location"] == f"/account/proof/?{urlencode({'next': path})}"
        # who signed in by a link has no password yet
        assert 'href="/sign-in/lost-password/"' in text_of(clara.get("/account/proof/?next=/my-water/archive/"))
        shown = clara.post("/account/proof/", {"next": "/my-water/archive/", "current_password": factories.PASSWORD})
        assert shown.headers["Location"] == "/my-water/archive/"
        assert clara.get("/my-water/archive.zip").status_code == 200


def test_the_page_tells_of_the_call_that_the_letter_promises(clara: Browser, watched: Watched) -> None:
    """Whoever reports a leak reads by when somebody calls, in the letter and on the page, until somebody has called."""
    path = f"/my-water/{watched.unit.pk}/"
    Client.objects.update(phone="+49 30 5550101")
    assert "somebody will call you" not in text_of(clara.get(path))
    with TestCase.captureOnCommitCallbacks(execute=True):
        assert clara.post(f"{path}fault/", {"observations": ["water_on_floor"]}).status_code == 302
    (letter,) = Message.objects.filter(kind="report_noted")
    (promise,) = [line for line in letter.body.splitlines() if "somebody will call you" in line]
    assert promise in html.unescape(text_of(clara.get(path)))
    Message.objects.filter(kind="call_back").update(state="called")
    assert promise not in html.unescape(text_of(clara.get(path)))


def test_a_call_that_was_asked_for_stands_on_the_page_until_it_is_made(clara: Browser, watched: Watched) -> None:
    Client.objects.update(phone="+49 30 5550101")
    paths = (f"/my-water/{watched.unit.pk}/", f"/my-water/visits/{watched.visit.pk}/")
    assert all("Please call me" in text_of(clara.get(path)) for path in paths)
    clara.post(paths[1], {"answer": "call_me"})
    for path in paths:
        page = words_of(text_of(clara.get(path)))
        assert "You asked for a call: we will call you at +49 30 5550101." in page
        # asked once is enough, and the page says that it was heard
        assert "Please call me" not in page
    Message.objects.filter(kind="call_wanted").update(state="called")
    assert all("Please call me" in text_of(clara.get(path)) for path in paths)


def test_when_the_next_change_is_due_is_told_until_a_time_is(
    clara: Browser, watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The office reads it under 'What the client is told': the client must read it too."""
    position, day = watched.unit.positions.first(), timezone.now().date()
    sentence = "The first replacement at your unit should be due around 30 Apr 2027; this is an estimate."
    change = Change(position.pk, position.stage, position.role, day, day, day, sentence)
    monkeypatch.setattr("fleet.services.status._next_change", lambda unit: change)
    # the visit of this unit is offered, with its times
    assert sentence not in page_of(clara, watched)
    Visit.objects.update(state="proposed", offers=[])
    assert sentence in page_of(clara, watched)


@pytest.mark.parametrize(("value", "shown"), [(5000.0, "5000"), (12345.6, "12346"), (0.5, "0.5")])
def test_no_number_is_written_in_powers_of_ten(clara: Browser, watched: Watched, value: float, shown: str) -> None:
    Reading.objects.update(product_tds_mg_per_l=value)
    words = words_of(page_of(clara, watched))
    assert f"The water was at {shown} mg/L TDS" in words
    assert "e+" not in words


def test_the_page_says_how_long_it_takes_as_the_letters_do(clara: Browser, watched: Watched) -> None:
    """Every letter says it to the next quarter of an hour; 79 minutes here and an hour and a half there are two."""
    Visit.objects.update(minutes=79)
    for path in (f"/my-water/{watched.unit.pk}/", f"/my-water/visits/{watched.visit.pk}/"):
        assert "It takes about 90 minutes." in words_of(text_of(clara.get(path)))


@pytest.mark.parametrize(("form", "said"), [("reading", "Nothing is filled in"), ("fault", "Nothing is ticked")])
def test_an_empty_form_is_refused_in_the_words_of_the_form(
    clara: Browser, watched: Watched, form: str, said: str
) -> None:
    refused = clara.post(f"/my-water/{watched.unit.pk}/{form}/", {"note": "the door of the cabinet is loose"})
    assert refused.status_code == 400
    page = text_of(refused)
    assert said in page
    assert "The row" not in page
    # what was written is still there
    assert "the door of the cabinet is loose" in page
    assert Reading.objects.filter(note__contains="cabinet").count() == 0


def test_a_number_to_call_is_an_address_without_blanks(clara: Browser, office: Membership, watched: Watched) -> None:
    """RFC 3966, section 3: a telephone number in an address has digits and a plus, and no blank."""
    Company.objects.update(phone="+49 30 (555) 01-23")
    Client.objects.update(phone="+49 40 (555) 01-23")
    assert 'href="tel:+49305550123"' in page_of(clara, watched)
    desk, client = signed_in(office), watched.unit.site.client_id
    for address in ("/attention/", "/clients/", f"/clients/{client}/", f"/units/{watched.unit.pk}/"):
        called = re.findall(r'href="tel:([^"]*)"', text_of(desk.get(address)))
        assert set(called) <= {"+49405550123"}, address
    assert called
