"""Units, orders, stock, clients, sheets and the company on the office's pages."""

import re
from datetime import date
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.models import Client, Invitation
from fleet.models import ExhaustionLimits, Reading, Site, Supplier
from scheduling.models import CompanyPolicy, Installer, Need, PurchaseOrder, StockLevel
from scheduling.pages.office.plots import calibration_plot, compared_plot, round_steps, stock_plot
from tests import factories
from tests.pages import text_of
from tests.scheduling.night import run_night
from tests.scheduling.town import Town

pytestmark = pytest.mark.interface


def test_a_unit_shows_its_forecasts_readings_and_cartridges_and_takes_a_reading(desk: Any, town: Town) -> None:
    unit = town.unit()
    town.forecast(town.position(unit, "carbon"), 20)
    address = f"/units/{unit.pk}/"
    shown = text_of(desk.get(address))
    assert "around 2026-03-22" in shown
    assert "sediment-1" in shown
    form = {"do": "read", "inlet_pressure": "3,1", "inlet_pressure_unit": "bar", "permeate_tds": "11"}
    stored = desk.post(address, {**form, "permeate_tds_unit": "ppm"})
    assert stored.headers["Location"] == f"{address}#readings"
    reading = Reading.objects.order_by("pk").last()
    assert reading is not None
    assert (reading.inlet_pressure_kpa, reading.permeate_tds_mg_per_l) == (310.0, 11.0)
    refused = desk.post(address, {**form, "inlet_pressure": "33", "permeate_tds_unit": "ppm"})
    assert refused.status_code == 400
    assert 'value="33"' in text_of(refused)
    assert "33 bar is outside what this can be" in text_of(refused)
    assert desk.post(address, {"do": "void_reading", "reading": reading.pk, "reason": "misread"}).status_code == 302
    assert "Taken back: misread" in text_of(desk.get(address))
    assert desk.post(address, {"do": "need", "kind": "repair", "reason": "drips"}).status_code == 302
    assert Need.objects.filter(unit=unit, kind="repair").exists()


def test_lists_ask_the_database_as_often_for_much_as_for_little(desk: Any, town: Town, ada: Installer) -> None:
    run_night(town, sites=2)
    addresses = ("/units/", "/sites/", "/clients/", "/attention/", "/week/", "/stock/", "/orders/")

    def counted() -> dict[str, int]:
        found = {}
        for address in addresses:
            with CaptureQueriesContext(connection) as queries:
                assert desk.get(address).status_code == 200
            found[address] = len(queries)
        return found

    counted()
    few = counted()
    run_night(town, sites=6)
    assert counted() == few


def test_what_stands_in_the_draft_is_not_planned_once_more(desk: Any, town: Town, ada: Installer) -> None:
    plan = run_night(town, sites=2)
    listed = text_of(desk.get("/attention/"))
    assert f'href="/week/?plan={plan.pk}"' in listed
    assert "Plan the rounds" not in listed
    plan.rounds.all().delete()
    assert "Plan the rounds" in text_of(desk.get("/attention/"))


def test_lists_are_read_page_by_page_with_the_words_that_were_sought(desk: Any, town: Town) -> None:
    site = town.site(name="Quay House")
    for number in range(52):
        factories.UnitFactory(company=town.company, site=site, code=f"Q{number:02}")
    first = text_of(desk.get("/units/?search=quay"))
    assert "52 units" in first
    assert first.count('<tr><th scope="row">') == 50
    following = re.search(r'href="(\?[^"]*page=2)"', first)
    assert following is not None
    second = text_of(desk.get("/units/" + following[1].replace("&amp;", "&")))
    assert second.count('<tr><th scope="row">') == 2
    assert desk.get("/units/?page=9").status_code == 404
    assert desk.get("/units/?page=nine").status_code == 400


def test_an_order_is_changed_placed_and_received_in_parts(desk: Any, town: Town) -> None:
    item = town.item("carbon")
    supplier = Supplier.objects.create(company=town.company, name="Kaldermere")
    order = factories.PurchaseOrderFactory(company=town.company, supplier=supplier)
    address = f"/orders/{order.pk}/"
    assert (
        desk.post(address, {"do": "change", "item": item.pk, "packs": "2", "price": "", "note": ""}).status_code == 302
    )
    line = PurchaseOrder.objects.get().lines.get()
    assert (line.item, line.packs) == (item, 2)
    placed = desk.post(address, {"do": "place", "expected_on": "2026-03-09"})
    assert placed.status_code == 302, text_of(placed)
    assert "expected 9 Mar 2026" in text_of(desk.get(address))
    came = {"do": "receive", "line": line.pk, "quantity": "3", "lot": "", "expires_on": "", "reference": "DN 7"}
    assert desk.post(address, came).status_code == 302
    assert StockLevel.objects.get(item=item).quantity == 3
    nothing = desk.post(address, {**came, "quantity": "many", "reference": "DN 8"})
    assert nothing.status_code == 400
    assert 'role="alert"' in text_of(nothing)


def test_an_item_is_counted_moved_and_drawn(desk: Any, town: Town, ada: Installer) -> None:
    item = town.item("carbon")
    town.forecast(town.position(town.unit(), "carbon"), 20)
    address = f"/stock/{item.pk}/"
    assert desk.post(address, {"do": "count", "quantity": "7"}).status_code == 302
    move = {"do": "move", "kind": "transfer", "pieces": "2", "to_installer": ada.pk, "reason": "for Tuesday"}
    assert desk.post(address, move).status_code == 302
    levels = dict(StockLevel.objects.filter(item=item).values_list("installer__name", "quantity"))
    assert levels == {None: 5, "Ada": 2}
    page = text_of(desk.get(address))
    assert '<polygon class="band"' in page
    assert page.count('<tr><th scope="row">') >= 26
    refused = desk.post(address, {**move, "reason": ""})
    # whoever fills a form is told which of its fields is wrong
    assert (refused.status_code, "<li>Reason: This is missing" in text_of(refused)) == (400, True)
    assert "<li>Quantity: &#x27;-3&#x27; cannot be taken here" in text_of(
        desk.post(address, {"do": "count", "quantity": "-3"})
    )
    assert "carbon-1" in text_of(desk.get("/stock/"))


def test_the_positions_of_an_item_come_by_the_hundred(desk: Any, town: Town, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scheduling.pages.office.stock._POSITIONS", 2)
    units = [town.unit() for _ in range(3)]
    for number, unit in enumerate(units):
        town.forecast(town.position(unit, "carbon"), 30 + 20 * number)
    address = f"/stock/{town.item('carbon').pk}/"
    first, second = desk.get(address), desk.get(address, {"page": "2"})
    for page in (first, second):
        assert "3 positions, the surest first" in text_of(page)
    shown = [[unit.code for unit in units if f"/units/{unit.pk}/" in page.content.decode()] for page in (first, second)]
    assert sorted(map(len, shown)) == [1, 2]
    assert {*shown[0], *shown[1]} == {unit.code for unit in units}
    assert 'href="?page=2"' in first.content.decode()
    assert desk.get(address, {"page": "3"}).status_code == 404


def test_a_client_and_a_site_are_added_and_changed(desk: Any, town: Town) -> None:
    added = desk.post("/clients/", {"do": "add", "name": "Reef Cafe", "email": "", "phone": "030 5", "notes": ""})
    client = Client.objects.get(name="Reef Cafe")
    assert added.headers["Location"] == f"/clients/{client.pk}/"
    form = {"do": "add_site", "code": "R9", "name": "Quay", "address": "Quay 3", "latitude": "52,5", "longitude": "x"}
    refused = desk.post(f"/clients/{client.pk}/", form)
    assert refused.status_code == 400
    assert 'value="R9"' in text_of(refused)
    assert desk.post(f"/clients/{client.pk}/", {**form, "longitude": "13.4"}).status_code == 302
    site = Site.objects.get(code="R9")
    assert (site.latitude, site.client) == (52.5, client)
    assert (
        desk.post(f"/sites/{site.pk}/", {"do": "change", "name": "Quay", "access_notes": "two steps"}).status_code
        == 302
    )
    assert "two steps" in text_of(desk.get(f"/sites/{site.pk}/"))


def test_sheets_are_looked_at_first_and_stored_then(desk: Any, town: Town) -> None:
    factories.UnitFactory(company=town.company, site=town.site(), code="U1")

    def sheets() -> list[BytesIO]:
        rows = b"unit,taken at,permeate TDS [ppm]\nU1,2026-02-20 10:00,11\nU1,soon,12\n"
        clients = b"name,e-mail\nAnemone Corner,a@x.example\n"
        return [SimpleUploadedFile("readings.csv", rows), SimpleUploadedFile("clients.csv", clients)]

    before = Reading.objects.count()
    seen = text_of(desk.post("/bring-in/", {"do": "trial", "file": sheets()}))
    assert "2 new, 0 changed, 0 as they are, 1 refused." in seen
    # the cell is marked where it stands: its row, its column and what is written there
    cell = re.search(
        r'<td[^>]*>3</td><th scope="row">U1</th>.*?<p class="cell-fault"><strong>(.*?)</strong> <mark>(.*?)</mark>',
        seen,
    )
    assert cell is not None
    assert cell.groups() == ("taken at", "soon")
    assert Reading.objects.count() == before
    assert "Store what is right" in seen
    done = text_of(desk.post("/bring-in/", {"do": "store", "file": sheets()}))
    assert "What became of them" in done
    assert Reading.objects.count() == before + 1
    assert Client.objects.filter(name="Anemone Corner").exists()
    assert desk.post("/bring-in/", {"do": "trial"}).status_code == 400


def test_the_owner_invites_sets_limits_and_a_policy_and_the_office_reads_them(
    desk: Any, owners_desk: Any, town: Town
) -> None:
    form = {"do": "invite", "email": "new@x.example", "name": "New", "role": "installer"}
    assert owners_desk.post("/company/", form).status_code == 302
    assert Invitation.objects.get().email == "new@x.example"
    assert "new@x.example" in text_of(desk.get("/company/"))
    assert desk.post("/company/", form).status_code == 403
    assert owners_desk.post("/company/limits/", {"do": "keep", "use": "", "product_tds": "1 mg/L"}).status_code == 302
    assert ExhaustionLimits.objects.get().product_tds_mg_per_l == 1.0
    looser = owners_desk.post("/company/limits/", {"do": "keep", "use": "", "lead_resin_fraction": "9"})
    assert looser.status_code == 400
    assert "Limits only get stricter" in text_of(looser)
    # the usual limits stand beside the company's own: 10 psi over a prefilter
    assert "0.69 bar" in text_of(desk.get("/company/limits/"))
    policy = {"do": "keep", "visit_cost": "14", "target_risk": "0.3"}
    assert owners_desk.post("/company/policy/", policy).status_code == 302
    assert CompanyPolicy.objects.get().settings == {"visit_cost": 14}
    assert desk.post("/company/policy/", policy).status_code == 403
    wrong = owners_desk.post("/company/policy/", {"do": "keep", "target_risk": "often"})
    assert wrong.status_code == 400
    assert 'value="often"' in text_of(wrong)
    assert "invited" in text_of(owners_desk.get("/company/trail/"))
    assert "have not been judged yet" in text_of(desk.get("/company/forecasts/"))


def test_a_plot_lies_where_its_numbers_say() -> None:
    weeks = [
        {"day": date(2026, 3, 9), "wanted_p10": 1, "wanted_p50": 2, "wanted_p90": 4, "there": 3},
        {"day": date(2026, 3, 16), "wanted_p10": 2, "wanted_p50": 5, "wanted_p90": 8, "there": 3},
    ]
    plot = stock_plot(weeks)
    # 2 weeks over 648 of the width, 8 pieces over 248 of the height, from 56 and 260
    assert plot.middle == "56.0,260.0 380.0,198.0 704.0,105.0"
    assert plot.there == "56.0,167.0 380.0,167.0 380.0,167.0 704.0,167.0"
    assert [tick.words for tick in plot.pieces] == ["0", "2", "4", "6", "8"]
    flat = stock_plot([{**weeks[0], "wanted_p10": 0, "wanted_p50": 0, "wanted_p90": 0, "there": 0}])
    assert flat.middle.endswith("704.0,260.0")
    bars = compared_plot("Visits", {"mean": 50, "p10": 40, "p90": 60}, {"mean": 100, "p10": 90, "p90": 120}).bars
    assert [bar.length for bar in bars] == [204.2, 408.3]
    sure = calibration_plot({"coverage_50": 0.5, "coverage_80": None, "coverage_90": 1.0})
    assert sure.points == [(380.0, 136.0, "50 %"), (639.2, 12.0, "100 %")]
    assert round_steps(0, 100) == [0, 20, 40, 60, 80, 100]


def test_a_report_without_its_minutes_says_nothing_of_them(desk: Any, town: Town) -> None:
    site = town.unit().site
    record = factories.ServiceRecordFactory(company=town.company, site=site, minutes=None)
    assert record.minutes is None
    page = text_of(desk.get(f"/sites/{site.pk}/"))
    assert "What was done last" in page
    assert "None minutes" not in page


def test_what_is_over_is_told_apart_from_what_is_open(desk: Any, town: Town) -> None:
    unit = town.unit()
    over = town.finding(unit, "prefilters_clogged")
    over.state, over.closed_at = "closed", over.opened_at
    over.save()
    page = text_of(desk.get(f"/units/{unit.pk}/"))
    assert 'Findings <span class="count">0</span>' in page
    assert page.index("The readings show nothing that is wrong.") < page.index("Earlier findings")
    town.finding(unit, "membrane_oxidised")
    page = text_of(desk.get(f"/units/{unit.pk}/"))
    assert 'Findings <span class="count">1</span>' in page
    assert "The readings show nothing that is wrong." not in page
    assert page.index(">It is true<") < page.index("Earlier findings")
