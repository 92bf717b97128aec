"""The day sheet: everything an installer needs in one call, and the same on paper, read back by another library."""

import io
from datetime import timedelta
from typing import Any

import pytest
from pypdf import PdfReader
from rest_framework.test import APIClient

from accounts.models import Client, Membership
from fleet.engineering import cautions
from fleet.engineering.diagnosis import RULES
from fleet.models import Finding, Position, Site, Stage, Unit
from scheduling.exports import day_sheet_pdf as pdf
from scheduling.exports import pdf_pages
from scheduling.models import Installer, Need, Plan, Round, Stop, Visit, VisitTask
from scheduling.services.needs.needs import add_need
from scheduling.services.rounds.cautions import cautions_at
from scheduling.services.rounds.day_sheets import day_sheet
from scheduling.services.rounds.plans import publish_plan
from tests import factories
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, RO_DI_TRAIN, Town

pytestmark = pytest.mark.interface

MONDAY = NOW + timedelta(hours=3)


@pytest.fixture
def ada(town: Town, installer: Membership) -> Installer:
    return town.installer("Ada", membership=installer, van="Van 7")


@pytest.fixture
def day(town: Town, ada: Installer, first_client: Client) -> Round:
    """One reef unit with an exhausted carbon and a finding, one drinking tap; read three days ago."""
    Client.objects.filter(pk=first_client.pk).update(phone="0123 456", email="reef@house.example")
    first_client.refresh_from_db()
    reef = town.site(client=first_client, name="Reef House", address="Quay 3", access_notes="Ring twice.\nDog.")
    unit = town.unit(reef, train=RO_DI_TRAIN, has_booster_pump=True)
    town.read(
        unit,
        at=NOW - timedelta(days=1),
        inlet_pressure_kpa=345.0,
        temperature_degc=25.0,
        feed_tds_mg_per_l=250.0,
        permeate_tds_mg_per_l=9.0,
        permeate_flow_l_per_day=200.0,
    )
    town.forecast(town.position(unit, "carbon"), 0)
    town.forecast(town.position(unit, "resin", "lead"), 1)
    town.finding(unit, "shutoff_valve_fault", confirming_check="Close the tank.", action="Change the valve.")
    tap = town.unit(town.site(north_km=3.0, name="Tea Room"), use="drinking")
    town.forecast(town.position(tap, "sediment"), 0)
    run_night(town)
    return Round.objects.order_by("day")[0]


def _text(content: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)


def _stop(sheet: dict[str, Any], name: str) -> dict[str, Any]:
    return next(stop for stop in sheet["stops"] if stop["site_name"] == name)


def test_one_call_gives_everything(as_installer: APIClient, day: Round, town: Town) -> None:
    answer = as_installer.get(f"/api/v1/rounds/{day.pk}/day-sheet/")
    assert answer.status_code == 200
    sheet = answer.json()
    assert (sheet["installer_name"], sheet["van"], sheet["plan_state"]) == ("Ada", "Van 7", "draft")
    reef = _stop(sheet, "Reef House")
    assert (reef["phone"], reef["email"], reef["access_notes"]) == (
        "0123 456",
        "reef@house.example",
        "Ring twice.\nDog.",
    )
    assert [task["order"] for task in reef["tasks"]] == sorted(task["order"] for task in reef["tasks"])
    assert any("carbon" in task["what"] for task in reef["tasks"])
    assert {part["code"] for part in reef["parts"]} >= {"carbon-1"}
    assert {line["code"] for line in sheet["load"]} >= {"carbon-1", "sediment-1"}
    (unit,) = reef["units"]
    assert {row["quantity"]: row["value"] for row in unit["last_readings"]}["inlet_pressure"] == {
        "value": 3.45,
        "unit": "bar",
    }
    expected = {row["quantity"]: row for row in unit["expected_readings"]}
    # the label of the town's membrane at its own test condition but for the recovery: 284 L/day, less a quarter
    assert expected["permeate_flow"]["low"]["value"] == pytest.approx(0.75 * 284, rel=0.03)
    assert expected["product_tds"]["high"] == {"value": 2.0, "unit": "mg/L"}
    # what to look for if it comes out wrong, whether the reading of the day before was good, bad or not taken
    assert expected["permeate_flow"]["if_not"].startswith("The flow is more than 25 % off")
    assert expected["permeate_tds"]["if_not"].startswith("The permeate is worse")
    assert expected["product_tds"]["if_not"].startswith("The product is above")
    assert [finding["make_sure"] for finding in unit["findings"]] == ["Close the tank."]
    assert any("residual-current" in caution for caution in reef["cautions"])
    assert any("not for drinking" in caution for caution in reef["cautions"])
    assert any("accredited laboratory" in caution for caution in _stop(sheet, "Tea Room")["cautions"])
    assert not any("residual-current" in caution for caution in _stop(sheet, "Tea Room")["cautions"])


COLD_WATER = cautions.COLD_WATER.format(limit="45 degC")


def _visit(*needs: tuple[str, str]) -> list[VisitTask]:
    """A visit with needs of a kind at a stage ('' for the unit), none of them stored."""
    return [
        VisitTask(need=Need(kind=kind, unit_id=1, position=Position(stage=stage) if stage else None))
        for kind, stage in needs
    ]


@pytest.mark.parametrize(
    ("needs", "use", "expected", "absent"),
    [
        ((("replace", "sediment"),), "reef", {cautions.ISOLATE}, {cautions.FLUSH_CARBON, cautions.MIND_RESIN}),
        (
            (("replace", "carbon"),),
            "reef",
            {cautions.FLUSH_CARBON},
            {cautions.DISPOSAL, cautions.FLUSH_RESIN, COLD_WATER},
        ),
        (
            (("replace", "uv"),),
            "drinking",
            {cautions.UV_LIGHT, cautions.UV_MERCURY, cautions.UV_GAP, cautions.POWER},
            {cautions.FLUSH_CARBON, cautions.FLUSH_BEFORE_DRINKING},
        ),
        ((("replace", "post_carbon"),), "drinking", {cautions.FLUSH_BEFORE_DRINKING}, {cautions.FLUSH_CARBON}),
        ((("replace", "remineralisation"),), "drinking", {cautions.FLUSH_BEFORE_DRINKING}, {cautions.UV_LIGHT}),
        (
            (("replace", "membrane"),),
            "drinking",
            {cautions.FLUSH_MEMBRANE, cautions.NO_CERTIFICATE},
            {cautions.FLUSH_CARBON, cautions.FLUSH_RESIN, cautions.LIGHT_PROOF},
        ),
        (
            (("rotate", "resin"),),
            "reef",
            {cautions.FLUSH_RESIN, cautions.MIND_RESIN, cautions.DISPOSAL},
            {cautions.CODES},
        ),
        ((("rotate", "carbon"),), "reef", {cautions.FLUSH_CARBON}, {cautions.MIND_RESIN, cautions.DISPOSAL}),
        ((("inspect", "resin"),), "reef", {cautions.ISOLATE}, {cautions.FLUSH_RESIN, cautions.DISPOSAL}),
        (
            (("commission", ""),),
            "coffee",
            {COLD_WATER, cautions.FLUSH_CARBON, cautions.LIGHT_PROOF},
            {cautions.FLUSH_RESIN},
        ),
        ((("sanitise", ""),), "drinking", {cautions.SANITISE, cautions.LIGHT_PROOF}, {COLD_WATER}),
    ],
)
def test_a_stop_is_cautioned_about_what_is_done_there(
    needs: tuple[tuple[str, str], ...], use: str, expected: set[str], absent: set[str]
) -> None:
    unit = Unit(pk=1, use=use, site=Site())
    unit.live = []  # type: ignore[attr-defined]
    given = set(cautions_at(_visit(*needs), [unit], "metric"))
    assert expected <= given
    assert not given & absent


def test_nothing_is_said_of_resin_where_there_is_none() -> None:
    """A tap of reverse osmosis alone, whatever is done to it, but for what a finding of its own says."""
    unit = Unit(pk=1, use="drinking", kind="ro", has_booster_pump=True, site=Site())
    unit.live = []  # type: ignore[attr-defined]
    everything = _visit(*[("replace", stage) for stage in Stage.values if stage != "resin"])
    everything += _visit(*[(kind, "") for kind in Need.Kind.values])
    given = cautions_at(everything, [unit], "metric")
    assert len(given) > 10
    assert not [text for text in given if "resin" in text.lower() or "deionised" in text.lower()]


def test_each_caution_stands_once_at_a_stop() -> None:
    """Two findings and the work itself say the same; what a rule joined for its finding is told apart again."""
    unit = Unit(pk=1, use="reef", has_booster_pump=True, site=Site())
    rules = [rule for rule in RULES if cautions.ISOLATE in rule.cautions and len(rule.cautions) > 1][:2]
    unit.live = [Finding(rule=rule.id, caution=" ".join(rule.cautions)) for rule in rules]  # type: ignore[attr-defined]
    unit.live.append(Finding(rule="D01", caution="Mind the step."))  # type: ignore[attr-defined]
    unit.live.append(Finding(rule="D01", caution=""))  # type: ignore[attr-defined]
    given = cautions_at(_visit(("replace", "carbon")), [unit], "us")
    assert len(rules) == 2
    assert " ".join(given).count(cautions.ISOLATE) == 1
    assert given.count("Mind the step.") == 1
    assert all(text in given for rule in rules for text in rule.cautions if text != cautions.NO_PART)
    assert cautions.NO_PART not in given
    assert "" not in given


@pytest.mark.parametrize(("own_well", "times"), [(True, 1), (False, 0), (None, 0)])
def test_an_own_well_is_to_be_tested_and_that_is_said_once(
    as_installer: APIClient, day: Round, town: Town, own_well: bool | None, times: int
) -> None:
    site = Site.objects.get(name="Tea Room")
    site.own_well = own_well
    site.save()
    town.unit(site)
    sheet = as_installer.get(f"/api/v1/rounds/{day.pk}/day-sheet/").json()
    assert _stop(sheet, "Tea Room")["cautions"].count(cautions.TEST_WELL) == times
    assert cautions.TEST_WELL not in _stop(sheet, "Reef House")["cautions"]


def test_a_task_names_what_is_on_hand_and_fits_in_its_place(
    as_installer: APIClient, day: Round, town: Town, ada: Installer
) -> None:
    def item(code: str, pieces: int, van: Installer | None = None, **values: Any) -> None:
        made = factories.CatalogueItemFactory(company=town.company, kind="carbon", code=code, **values)
        factories.StockLevelFactory(company=town.company, item=made, installer=van, quantity=pieces)

    task = next(task for task in _stop(as_installer.get(f"/api/v1/rounds/{day.pk}/day-sheet/").json(), "Reef House")
                ["tasks"] if task["item_code"] == "carbon-1")  # fmt: skip
    assert task["substitutes"] == []
    Position.objects.filter(pk=task["position"]).update(cartridge_size="10_inch")
    item("CB-DEARER", 1, cartridge_size="10_inch", price="9.00")
    item("CB-ABOARD", 2, ada, cartridge_size="10_inch", price="8.00")
    item("CB-OLD", 1, cartridge_size="10_inch", price="9.50", is_active=False)
    item("CB-NONE", 0, cartridge_size="10_inch", price="1.00")
    item("CB-WIDE", 5, cartridge_size="10_inch_wide", price="1.00")
    sheet = as_installer.get(f"/api/v1/rounds/{day.pk}/day-sheet/").json()
    tasks = [task for stop in sheet["stops"] for task in stop["tasks"]]
    (named,) = [each for each in tasks if each["substitutes"]]
    assert named["need"] == task["need"]
    assert named["substitutes"] == ["CB-ABOARD", "CB-DEARER", "CB-OLD"]
    printed = as_installer.get(f"/api/v1/rounds/{day.pk}/day-sheet/", headers={"Accept": "application/pdf"})
    assert "carbon-1 (or CB-ABOARD, CB-DEARER, CB-OLD)" in _text(printed.content).replace("\n", " ")
    # what was done takes nothing any more
    Need.objects.filter(pk=task["need"]).update(state="done", closed_at=NOW)
    sheet = as_installer.get(f"/api/v1/rounds/{day.pk}/day-sheet/").json()
    assert not [each for stop in sheet["stops"] for each in stop["tasks"] if each["substitutes"]]


def test_the_sheet_expects_what_the_limits_of_the_unit_ask_for(
    as_owner: APIClient, as_installer: APIClient, day: Round, town: Town
) -> None:
    stated = {"product_tds": "0.5 ppm", "chlorine": "0.05 mg/L"}
    assert as_owner.post("/api/v1/exhaustion-limits/", stated, format="json").status_code == 201
    sheet = as_installer.get(f"/api/v1/rounds/{day.pk}/day-sheet/").json()
    (unit,) = _stop(sheet, "Reef House")["units"]
    expected = {row["quantity"]: row for row in unit["expected_readings"]}
    assert expected["product_tds"]["high"]["value"] == 0.5
    assert "above 0.5 mg/L" in expected["product_tds"]["if_not"]
    assert expected["carbon_outlet_total_chlorine"]["high"]["value"] == 0.05
    assert "limit of 0.05 mg/L" in expected["carbon_outlet_total_chlorine"]["if_not"]


def test_my_day_is_todays_published_round(
    as_installer: APIClient, as_office: APIClient, day: Round, office: Membership
) -> None:
    none = as_installer.get("/api/v1/rounds/my-day/")
    assert (none.status_code, none.json()["code"]) == (404, "no_round_today")
    publish_plan(plan=Plan.objects.get(), by=office, now=NOW)
    assert as_installer.get("/api/v1/rounds/my-day/").json()["round"] == day.pk
    assert as_office.get("/api/v1/rounds/my-day/").status_code == 404
    Round.objects.filter(pk=day.pk).update(day=day.day + timedelta(days=1))
    Round.objects.exclude(pk=day.pk).update(day=day.day + timedelta(days=2))
    none = as_installer.get("/api/v1/rounds/my-day/")
    assert none.status_code == 404
    assert none.json()["detail"].endswith(f"on {day.day + timedelta(days=1)}, is round {day.pk}.")


def test_on_paper_stands_what_the_call_says(as_installer: APIClient, day: Round) -> None:
    address = f"/api/v1/rounds/{day.pk}/day-sheet/"
    answer = as_installer.get(address, headers={"Accept": "application/pdf"})
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
    text = " ".join(_text(answer.content).split())
    for stop in as_installer.get(address).json()["stops"]:
        for printed in (stop["site_name"], stop["client_name"], *stop["cautions"]):
            assert printed in text
        for task in stop["tasks"]:
            assert f"{task['unit_code']}: {task['what']}" in text
        for unit in stop["units"]:
            assert f"Unit {unit['code']}" in text
    for words in ("Ring twice. Dog.", "0123 456", "permeate flow", "3.45 bar", "not published", "Close the tank."):
        assert words in text
    assert as_installer.get(address, headers={"Accept": "application/pdf"}).content == answer.content
    Round.objects.update(lunch_at=day.returns_at - timedelta(hours=1))
    eaten = _text(as_installer.get(address, headers={"Accept": "application/pdf"}).content)
    Round.objects.update(lunch_at=day.returns_at + timedelta(hours=1))
    home = _text(as_installer.get(address, headers={"Accept": "application/pdf"}).content)
    assert ("lunch at" in eaten, "lunch at" in home) == (True, False)
    in_plan = as_installer.get(f"/api/v1/rounds/{day.pk}/").json()
    assert (as_installer.get(address).json()["lunch_at"], in_plan["lunch_at"]) == (None, None)
    refused = as_installer.get("/api/v1/rounds/987654/day-sheet/", headers={"Accept": "application/pdf"})
    assert (refused.status_code, refused.headers["Content-Type"]) == (404, "application/problem+json")


def test_what_the_client_said_is_printed_in_their_words(
    day: Round, office: Membership, as_installer: APIClient
) -> None:
    unit = Unit.objects.get(site__name="Tea Room")
    need = add_need(by=office, unit=unit, kind="repair", reason="No water at all since breakfast.", now=NOW)
    VisitTask.objects.create(visit=unit.site.visits.get(), need=need, order=99)
    answer = as_installer.get(f"/api/v1/rounds/{day.pk}/day-sheet/", headers={"Accept": "application/pdf"})
    text = " ".join(_text(answer.content).split())
    assert f"{unit.code}: repair (40 min) No water at all since breakfast." in text
    assert "Cheapest on" not in text


def test_each_task_says_why_and_has_a_box_and_the_client_can_sign(day: Round, as_installer: APIClient) -> None:
    address = f"/api/v1/rounds/{day.pk}/day-sheet/"
    sheet = as_installer.get(address).json()
    tasks = [task for stop in sheet["stops"] for task in stop["tasks"]]
    assert all(task["why"] for task in tasks)
    assert "Cheapest on" not in " ".join(task["why"] for task in tasks)
    (carbon,) = [task for task in tasks if "carbon" in task["what"]]
    assert carbon["why"] == Need.objects.get(pk=carbon["need"]).forecast.installer_sentence  # type: ignore[union-attr]
    pages = PdfReader(io.BytesIO(as_installer.get(address, headers={"Accept": "application/pdf"}).content)).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert text.count("Notes") == text.count("Name and signature of the client") == len(sheet["stops"])
    assert carbon["why"] in text
    drawn = b"".join(page.get_contents().get_data() for page in pages)  # type: ignore[union-attr]
    # the rectangles of eight points are the boxes
    assert drawn.count(b"0 0 8 8 re") == len(tasks)


def test_a_task_of_the_calendar_says_why_and_nothing_of_what_waiting_costs(
    day: Round, town: Town, as_installer: APIClient
) -> None:
    unit = Unit.objects.get(site__name="Tea Room")
    Unit.objects.filter(pk=unit.pk).update(
        tank=Unit.Tank.PRESSURISED, commissioned_on=(NOW - timedelta(days=800)).date()
    )
    run_night(town)
    need = Need.objects.get(unit=unit, kind="sanitise")
    assert "Cheapest on" in need.reason
    newest = Round.objects.order_by("-pk").first()
    assert newest is not None
    sheet = as_installer.get(f"/api/v1/rounds/{newest.pk}/day-sheet/").json()
    (sanitise,) = [task for stop in sheet["stops"] for task in stop["tasks"] if task["kind"] == "sanitise"]
    assert sanitise["why"].startswith("Pressurised tank: sanitise every")
    assert sanitise["why"] == need.reason.partition(" Cheapest on")[0]


def test_the_next_stop_is_the_first_that_is_open(day: Round, as_installer: APIClient) -> None:
    address = f"/api/v1/rounds/{day.pk}/day-sheet/"
    first, second = as_installer.get(address).json()["stops"]
    assert (first["is_next"], second["is_next"]) == (True, False)
    Visit.objects.filter(pk=first["visit"]).update(state="done", closed_at=NOW)
    first, second = as_installer.get(address).json()["stops"]
    assert (first["is_next"], second["is_next"]) == (False, True)


def test_twenty_stops_run_over_pages_and_none_is_lost(town: Town, ada: Installer) -> None:
    day = factories.RoundFactory(plan__company=town.company, installer=ada)
    for order in range(1, 21):
        site = town.site(name=f"Place {order:02}", access_notes="Through the yard. " * 40)
        visit = factories.VisitFactory(site=site)
        factories.VisitTaskFactory(visit=visit, need__unit=town.unit(site), need__label=f"thing {order:02}")
        factories.StopFactory(round=day, visit=visit, order=order)
    content = pdf.day_sheet_pdf(day_sheet(day=day))
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(content)).pages]
    assert len(pages) > 4
    for number, page in enumerate(pages, start=1):
        assert f"page {number}" in page
    text = " ".join("\n".join(pages).split())
    for order in range(1, 21):
        assert f"Place {order:02}" in text
        assert f"thing {order:02}" in text
    assert text.count("Through the yard.") == 20 * 40


NAMES = [
    "Ω" * 110,
    "Ünïcödé “quotes” <b>& no markup</b> </para>",
    "Кафе «Вода» Ελλάδα",
    "水族館 مقهى 🐠 \u200b\u202e\x07 ｆｕｌｌ",
    "a" * 118,
]


@pytest.mark.parametrize("has_system_font", [True, False])
@pytest.mark.parametrize("name", NAMES)
def test_no_name_breaks_the_sheet(
    day: Round, monkeypatch: pytest.MonkeyPatch, name: str, *, has_system_font: bool
) -> None:
    if not has_system_font:
        monkeypatch.setattr(pdf_pages, "_PAIRS", pdf_pages._PAIRS[1:])
    pdf_pages.fonts.cache_clear()
    Site.objects.update(name=name, access_notes=name * 50, address=name)
    text = _text(pdf.day_sheet_pdf(day_sheet(day=day)))
    pdf_pages.fonts.cache_clear()
    if name.startswith("Ü"):
        assert "Ünïcödé “quotes” <b>& no markup</b>" in text
    if name.startswith("Кафе"):
        has_font = has_system_font and (pdf_pages._SYSTEM / "DejaVuSans.ttf").exists()
        assert ("Кафе «Вода» Ελλάδα" in text) == has_font
        assert ("that the font of this sheet lacks" in text) == (not has_font)
    if name.startswith("水"):
        assert "that the font of this sheet lacks" in text
        assert "full" in text


def test_a_font_of_ones_own_is_used(day: Round, settings: Any) -> None:
    settings.PDF_FONT = str(pdf_pages._BUNDLED / "VeraBd.ttf")
    content = pdf.day_sheet_pdf(day_sheet(day=day))
    fonts = PdfReader(io.BytesIO(content)).pages[0]["/Resources"]["/Font"]
    names = {str(font.get_object()["/BaseFont"]) for font in fonts.values()}
    assert any("Vera" in name and "Bold" in name for name in names)
    assert not any("DejaVu" in name for name in names)


def test_a_day_in_another_companys_van_is_not_there(as_rival: APIClient, day: Round) -> None:
    assert as_rival.get(f"/api/v1/rounds/{day.pk}/day-sheet/").status_code == 404
    assert Stop.objects.filter(round=day).exists()
    assert Visit.objects.exists()
