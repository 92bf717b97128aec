"""An installer's day on a phone whose signal goes and comes, in a real browser."""

from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
import time_machine
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from accounts.models import Company, Membership
from fleet.models import Placement, Reading
from scheduling.models import Plan, ServicePhoto, ServiceRecord, StockMovement, Visit
from tests import factories
from tests.browser.phone import Line, Phone, lines_to
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.interface,
    pytest.mark.django_db(transaction=True),
]

PASSWORD = "a long one for the tests"


@pytest.fixture(autouse=True)
def clock() -> Iterator[time_machine.Traveller]:
    """The town's Monday morning, which goes on."""
    with time_machine.travel(NOW, tick=True) as traveller:
        yield traveller


@pytest.fixture
def driver(company: Company, installer: Membership) -> Membership:
    installer.user.set_password(PASSWORD)
    installer.user.save()
    return installer


@pytest.fixture
def day(company: Company, driver: Membership) -> Town:
    """Two carbons are due today on the one round there is, which is published."""
    company.time_zone = "Europe/Berlin"
    company.save()
    town = Town(company)
    town.installer("Ines", membership=driver)
    plan = run_night(town, sites=2)
    Plan.objects.filter(pk=plan.pk).update(state="published", published_at=NOW)
    town.stock(town.item("carbon"), 5)
    return town


@pytest.fixture
def line(live_server: Any) -> Iterator[Line]:
    with lines_to(live_server.url) as line:
        yield line


@pytest.fixture
def phone(chromium: Browser, line: Line, tmp_path: Path, driver: Membership, day: Town) -> Iterator[Phone]:
    phone = Phone(chromium.browser_type, tmp_path / "phone", line)
    phone.sign_in(driver.user.email, PASSWORD)
    yield phone
    phone.context.close()
    assert phone.faults == []


def _open_first_stop(phone: Phone) -> int:
    phone.said("pages of the day are kept")
    phone.page.click("a.keep >> nth=0")
    phone.page.wait_for_selector("#report")
    return int(phone.page.evaluate("JSON.parse(document.getElementById('facts').textContent).visit"))


def _replace_carbon(phone: Phone) -> None:
    page = phone.page
    page.click("a.cartridge.carbon")
    carbon = page.locator(".position[open]")
    carbon.get_by_label("Replaced").check()
    carbon.get_by_label("Why the old one left").select_option("exhausted")
    carbon.get_by_label("Serial number or lot").fill("L-77")


def _picture() -> dict[str, Any]:
    out = BytesIO()
    Image.new("RGB", (2400, 1200), (30, 90, 120)).save(out, "JPEG")
    return {"name": "under the sink.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def _sign(phone: Phone) -> None:
    pad = phone.page.locator("#signature")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box is not None
    mouse = phone.page.mouse
    mouse.move(box["x"] + 30, box["y"] + 30)
    mouse.down()
    mouse.move(box["x"] + 150, box["y"] + 60, steps=4)
    mouse.up()


def test_a_report_made_without_a_signal_outlives_the_battery_and_is_stored_once(phone: Phone, day: Town) -> None:
    visit = _open_first_stop(phone)
    page = phone.page
    phone.said("It is kept on this phone")
    phone.lose_signal()
    _replace_carbon(phone)
    page.get_by_label("Permeate TDS", exact=True).first.fill("12,5")
    page.locator(".judged", has_text="judged when they are sent").wait_for()
    page.get_by_label("Minutes it took").fill("35")
    page.set_input_files("#pictures", files=[_picture()])
    page.locator("#picture-list img").wait_for()
    page.get_by_label("Name", exact=True).fill("Mrs Example")
    _sign(phone)

    # put away half done, and opened again without a signal: all of it is there
    page.wait_for_timeout(3000)
    phone.context.close()
    phone.turn_on()
    phone.go("/my-day/")
    phone.page.click("a.keep >> nth=0")
    page = phone.page
    page.locator(".cartridge.carbon", has_text="replaced").wait_for()
    assert page.get_by_label("Minutes it took").input_value() == "35"
    assert page.locator("#picture-list img").count() == 1

    page.click("#report-send")
    phone.said("3 things are not sent yet")
    page.locator("#reported", has_text="on this phone and not sent yet").wait_for()
    assert not ServiceRecord.objects.exists()

    # the battery dies, and the report is still there, and said to be unsent
    phone.die()
    phone.turn_on()
    phone.go("/my-day/")
    phone.said("No signal")
    phone.said("3 things are not sent yet")
    phone.page.locator(".stop", has_text="not sent yet").wait_for()
    assert phone.page.locator("#unsent-list li").count() == 3

    phone.find_signal()
    phone.said("All is sent")
    phone.page.reload()
    phone.said("All is sent")
    record = ServiceRecord.objects.get()
    assert (record.visit_id, record.minutes, record.confirmed_by) == (visit, 35, "Mrs Example")
    assert record.work[0]["serial_or_lot"] == "L-77"
    assert Visit.objects.get(pk=visit).state == Visit.State.DONE
    assert Placement.objects.filter(removed_at__isnull=False).count() == 1
    assert Reading.objects.get(pk__in=record.readings).permeate_tds_mg_per_l == 12.5
    photo, signature = ServicePhoto.objects.order_by("kind")
    assert (photo.kind, photo.width, photo.height) == ("photo", 1600, 800)
    assert signature.kind == "signature"


def test_an_answer_that_is_lost_stores_nothing_twice_and_signing_out_meanwhile_asks_first(phone: Phone) -> None:
    """The server has stored it, and the phone never heard so."""
    _open_first_stop(phone)
    _replace_carbon(phone)
    answers: list[str] = []

    def lose(route: Any) -> None:
        answers.append(route.fetch().text())
        route.abort()

    phone.page.route("**/api/v1/service-records/", lose)
    phone.page.click("#report-send")
    phone.said("One thing is not sent yet")
    for _ in range(300):
        # It says so before it has tried, too.
        if answers:
            break
        phone.page.wait_for_timeout(100)
    asked: list[str] = []

    def stay(dialog: Any) -> None:
        asked.append(dialog.message)
        dialog.dismiss()

    phone.page.once("dialog", stay)
    # It is asked once the phone has counted what waits there.
    phone.page.get_by_role("button", name="Menu").click()
    with phone.page.expect_event("dialog"):
        phone.page.get_by_role("button", name="Sign out").click()
    phone.page.wait_for_selector("#unsent:not([hidden])", state="attached")
    assert "deleted from this phone and lost" in asked[0]
    # The phone tries again by itself; what is on its way meanwhile is let finish.
    phone.page.unroute_all(behavior="wait")
    phone.said("All is sent")
    assert '"id":' in answers[0]
    assert ServiceRecord.objects.count() == 1


def test_two_reports_of_one_visit_are_shown_side_by_side_and_a_person_says_which_holds(
    phone: Phone, driver: Membership, api_for: Callable[..., Any]
) -> None:
    visit = _open_first_stop(phone)
    phone.lose_signal()
    _replace_carbon(phone)
    phone.page.get_by_label("Note for the office").fill("the tap drips")
    phone.page.click("#report-send")
    phone.said("One thing is not sent yet")
    position = Visit.objects.get(pk=visit).tasks.get().need.position
    body = {
        "site": Visit.objects.get(pk=visit).site_id,
        "visit": visit,
        "reference": "the other phone",
        "done_at": NOW.isoformat(),
        "work": [{"action": "replace", "unit": position.unit_id, "position": position.pk, "removal": "damaged"}],
        "minutes": 10,
    }
    assert api_for(driver).post("/api/v1/service-records/", body).status_code == 201

    phone.find_signal()
    phone.said("it needs your word below")
    row = phone.page.locator("#unsent-list .settle")
    mine, theirs = row.locator(".both > div").all()
    assert "the tap drips" in mine.inner_text()
    assert "Seen to be exhausted" in mine.inner_text()
    assert "Damaged" in theirs.inner_text()
    assert "10" in theirs.inner_text()
    assert ServiceRecord.objects.count() == 1
    row.get_by_role("button", name="it takes the place of the other").click()
    phone.said("All is sent")
    assert ServiceRecord.objects.get().note == "the tap drips"
    assert ServiceRecord.with_voided.count() == 2


def test_nothing_stays_on_the_phone_of_whoever_signs_out_or_of_somebody_before(
    phone: Phone, day: Town, company: Company
) -> None:
    _open_first_stop(phone)
    _replace_carbon(phone)
    phone.page.get_by_label("Note for the office").fill("half a report")
    phone.page.wait_for_timeout(3000)
    before = phone.kept()
    assert before["rows"]["my-day/drafts"] == 1
    assert len(before["caches"]["my-day-pages"]) == 3

    # another person signs in, though nobody signed out
    second = factories.MembershipFactory(company=company, role="installer", user__email="iwo@north.example")
    second.user.set_password(PASSWORD)
    second.user.save()
    day.installer("Iwo", membership=second)
    phone.context.clear_cookies()
    phone.sign_in(second.user.email, PASSWORD)
    phone.said("kept on this phone")
    assert "Site 1" not in phone.page.content()
    kept = phone.kept()
    assert kept["rows"]["my-day/drafts"] == 0
    assert kept["caches"]["my-day-pages"] == ["/my-day/"]

    phone.page.get_by_role("button", name="Menu").click()
    phone.page.get_by_role("button", name="Sign out").click()
    phone.page.wait_for_url("**/sign-in/**")
    assert phone.kept() == {"caches": {}, "rows": {}}


def test_a_day_with_a_signal(phone: Phone, nothing_in_the_way: Callable[[Page], None]) -> None:
    """The load is ticked and booked, a leak reported, a value judged, a closed door told; nobody is kept from any."""
    page = phone.page
    nothing_in_the_way(page)
    page.locator("#load").get_by_role("checkbox").first.check()
    page.wait_for_timeout(3000)
    page.reload()
    # not by a function of the page: asked a second time, the browser would have to evaluate text, which is refused
    expect(page.locator("#load").get_by_role("checkbox").first).to_be_checked()
    page.get_by_role("button", name="book the load").click()
    page.locator("#load .told", has_text="Sent at").wait_for()
    assert StockMovement.objects.filter(kind="transfer").exists()

    visit = _open_first_stop(phone)
    count = Reading.objects.count()
    page.get_by_label("Feed TDS", exact=True).first.fill("12")
    page.get_by_label("Permeate TDS", exact=True).first.fill("250")
    page.locator(".judged", has_text="exchanged").wait_for()
    assert Reading.objects.count() == count
    # what cannot be is said at the gauge, and what is no number is no part of a judgement on the others
    inlet = page.get_by_label("Inlet pressure", exact=True).first
    beside = page.locator(".gauge[data-gauge=inlet_pressure] .means").first
    inlet.fill("99999")
    expect(beside).to_have_text("This cannot be: see below")
    inlet.fill("abc")
    expect(beside).to_contain_text("'abc' is no number")
    inlet.fill("")
    page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    nothing_in_the_way(page)

    page.get_by_label("What is wet").fill("below the membrane")
    page.get_by_role("button", name="Report the leak").click()
    page.locator(".leak .told", has_text="Sent at").wait_for()
    assert Reading.objects.filter(observations={"water_on_floor": True}, note="below the membrane").count() == 1
    page.get_by_label("Nobody was in").check()
    page.get_by_role("button", name="Report that it was not done").click()
    page.locator("#not-done .told", has_text="Sent at").wait_for()
    assert Visit.objects.get(pk=visit).obstacle == "nobody_in"
    assert Reading.objects.get(feed_tds_mg_per_l__isnull=False).permeate_tds_mg_per_l == 250.0


def _tab_to(page: Page, selector: str) -> None:
    """Go there as somebody goes who has no mouse: key by key, and seeing each time where one is."""
    for _ in range(300):
        page.keyboard.press("Tab")
        if page.evaluate("(selector) => document.activeElement.matches(selector)", selector):
            width = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
            assert float(width.removesuffix("px")) >= 2, selector
            return
    raise AssertionError(f"no key leads to {selector}")


def test_the_whole_of_a_stop_is_done_by_keyboard_alone(phone: Phone, day: Town) -> None:
    page = phone.page
    phone.said("pages of the day are kept")
    _tab_to(page, "a.keep")
    page.keyboard.press("Enter")
    page.wait_for_selector("#report")
    phone.said("Nothing waits")
    _tab_to(page, "a.cartridge.carbon")
    page.keyboard.press("Enter")
    page.locator(".position[open]").wait_for()
    _tab_to(page, ".position[open] input[type=radio]")
    # 'Nothing' is chosen; the next one says that it was replaced.
    page.keyboard.press("ArrowDown")
    _tab_to(page, "[name^=removal-]")
    page.keyboard.type("Seen")
    _tab_to(page, "[name$=-permeate_tds]")
    page.keyboard.type("12")
    _tab_to(page, "#minutes")
    page.keyboard.type("25")
    _tab_to(page, "#confirmed-by")
    page.keyboard.type("Mrs Example")
    _tab_to(page, "#report-send")
    page.keyboard.press("Enter")
    phone.said("All is sent")
    record = ServiceRecord.objects.get()
    assert (record.minutes, record.confirmed_by, record.work[0]["removal"]) == (25, "Mrs Example", "exhausted")
    assert Reading.objects.get(pk__in=record.readings).permeate_tds_mg_per_l == 12.0


def test_a_day_and_a_stop_on_paper_say_what_is_to_be_done_and_show_nothing_to_press(phone: Phone) -> None:
    page = phone.page
    page.emulate_media(media="print")
    assert page.get_by_role("button").count() == 0
    assert "Into the van" in page.inner_text("main")
    page.goto(page.locator("a.keep").first.evaluate("(link) => link.href"))
    page.wait_for_selector("#report")
    assert page.get_by_role("button").count() == 0
    text = page.inner_text("main")
    for words in ("How to get in", "What to do", "carbon", "Gauges, before the work", "Minutes it took"):
        assert words in text, words
    # what is folded on the screen
    assert page.get_by_text("Why this stop is here").is_visible()
    assert page.locator("details", has_text="Gauges, after the work").locator("input").first.is_visible()
