"""Sheets as people keep them, brought into an empty company."""

import io
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from openpyxl import Workbook
from rest_framework.test import APIClient

from accounts.day_alone import known_day
from accounts.models import Client, Company, Membership
from fleet.models import CatalogueItem, Placement, Reading, Site, Unit
from scheduling.company_files import pages
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import BroughtIn, Outcome
from scheduling.company_files.take_out import take_out
from scheduling.models import StockLevel
from tests import factories

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)

GERMAN = {
    "items.csv": (
        "item;description;type;price;micron rating [um];rated volume [L];rated flow [gpd];rated pressure [psi];"
        "rated temperature [degC];rated tds [mg/L];rated recovery;rejection;membrane material;colour\n"
        "SED5;Sedimentfilter;sediment;4,20;5;12000;;;;;;;;weiss\n"
        "CB10;Kohleblock;carbon block;9,80;;;;;;;;;;\n"
        "M75;Membran;membrane;34,50;;;75;60;25;500;0,15;0,96;polyamide;\n"
    ),
    "anlagen.csv": (
        "customer;phone;e-mail;address;lat;lon;use;type;commissioned;weekly use [L];sediment;carbon;membrane;booster\n"
        "Café Ufer;040 555;ufer@kunde.example;Uferweg 3;53,551;9,993;coffee;RO;17.5.2023;1.300;2.3.2026;2.3.2026;;ja\n"
        "Praxis;;;Ringgasse 12;53,56;10,01;lab;RO;1.2.2022;150;31.02.2026;15.4.2026;-;nein\n"
    ),
    "readings.csv": (
        "unit;date;line pressure [bar];feed tds [ppm];permeate tds [ppm];permeate flow [L/h]\n"
        "S01-1;2.3.2026;4,1;420;12;9,5\n"
        "S01-1;20.9.2026 10:15;4,0;430;15;abc\n"
        "S99-1;20.9.2026;4,0;430;15;9\n"
    ),
}


@pytest.fixture
def berlin() -> Membership:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    owner: Membership = factories.MembershipFactory(company=company, role="owner")
    return owner


def brought(by: Membership, files: dict[str, str], *, is_trial: bool = False) -> BroughtIn:
    return bring_in(by=by, files={name: text.encode() for name, text in files.items()}, now=NOW, is_trial=is_trial)


def told(result: BroughtIn, sheet: str) -> list[str]:
    return [remark for page in result.pages if page.sheet == sheet for row in page.rows for remark in row.remarks]


@pytest.mark.django_db
def test_one_sheet_of_units_makes_clients_sites_units_and_their_last_changes(berlin: Membership) -> None:
    result = brought(berlin, GERMAN)
    assert {client.name: client.phone for client in Client.objects.all()} == {"Café Ufer": "040 555", "Praxis": ""}
    site = Site.objects.get(code="S01")
    assert (site.address, site.latitude, site.time_zone) == ("Uferweg 3", 53.551, "Europe/Berlin")
    unit = Unit.objects.get(code="S01-1")
    assert (unit.use, unit.kind, unit.weekly_demand_l, unit.has_booster_pump) == ("coffee", "ro", 1300.0, True)
    stays = Placement.objects.filter(position__unit=unit).order_by("position__order")
    assert [(stay.item.code, f"{stay.placed_at:%Y-%m-%d %H}") for stay in stays] == [
        ("SED5", "2026-03-02 11"),
        ("CB10", "2026-03-02 11"),
    ], "a day alone is counted with as its noon in Berlin"
    assert {known_day(stay.placed_at) for stay in stays} == {date(2026, 3, 2)}
    assert str(CatalogueItem.objects.get(code="CB10").price) == "9.80"
    assert result.count(Outcome.REFUSED) == 1


@pytest.mark.django_db
def test_a_bad_value_is_left_out_and_its_row_kept(berlin: Membership) -> None:
    result = brought(berlin, GERMAN)
    assert Unit.objects.filter(code="S02-1").exists()
    assert told(result, "units") == [
        "product tds target: not given, taken as 179 mg/L, usual for its use.",
        "sediment: '31.02.2026' is no day of the calendar; write 2026-03-01; this value is not stored.",
        "product tds target: not given, taken as 0.5 mg/L, usual for its use.",
    ]
    second = Reading.objects.get(unit__code="S01-1", taken_at=datetime(2026, 9, 20, 8, 15, tzinfo=UTC))
    assert (second.permeate_flow_l_per_day, second.line_pressure_kpa) == (None, pytest.approx(400.0))
    assert any("'abc' is not a number" in remark for remark in told(result, "readings"))
    assert any("There is no unit with the code 'S99-1'" in remark for remark in told(result, "readings"))
    first = Reading.objects.get(unit__code="S01-1", taken_at=datetime(2026, 3, 2, 11, tzinfo=UTC))
    assert (known_day(first.taken_at), first.flags) == (date(2026, 3, 2), [])
    assert known_day(second.taken_at) is None
    assert any("'colour'" in remark for page in result.pages for remark in page.remarks)


@pytest.mark.django_db
def test_twice_brings_nothing_twice(berlin: Membership) -> None:
    first, second = brought(berlin, GERMAN), brought(berlin, GERMAN)
    assert first.count(Outcome.MADE) > 8
    assert (second.count(Outcome.MADE), second.count(Outcome.CHANGED)) == (0, 0)
    assert Reading.objects.count() == 2


@pytest.mark.django_db
def test_what_is_taken_out_is_known_when_it_comes_in_again(berlin: Membership) -> None:
    brought(berlin, GERMAN)
    result = brought(berlin, dict(take_out(company=berlin.company, by=berlin)))
    assert (result.count(Outcome.MADE), result.count(Outcome.CHANGED), result.count(Outcome.REFUSED)) == (0, 0, 0)
    assert Reading.objects.count() == 2


@pytest.mark.django_db
def test_a_trial_tells_the_same_and_stores_nothing(berlin: Membership) -> None:
    trial = brought(berlin, GERMAN, is_trial=True)
    assert [model.objects.count() for model in (Client, CatalogueItem, Reading)] == [0, 0, 0]
    kept = brought(berlin, GERMAN)
    assert [(page.origin, page.sheet, page.counts) for page in trial.pages] == [
        (page.origin, page.sheet, page.counts) for page in kept.pages
    ]


@pytest.mark.django_db
def test_a_changed_cell_changes_that_field_alone(berlin: Membership) -> None:
    brought(berlin, GERMAN)
    result = brought(berlin, {"clients.csv": "name,phone\nCAFÉ UFER,040 777\nPraxis,\n"})
    assert [row.outcome for row in result.pages[0].rows] == [Outcome.CHANGED, Outcome.LEFT]
    client = Client.objects.get(name__startswith="CAF")
    assert (client.phone, client.email) == ("040 777", "ufer@kunde.example")


@pytest.mark.django_db
@pytest.mark.parametrize(("system", "day"), [("us", "2026-03-04"), ("metric", "2026-04-03")])
def test_days_with_slashes_follow_the_company_where_the_file_does_not_tell(system: str, day: str) -> None:
    company = factories.CompanyFactory(unit_system=system, time_zone="UTC")
    owner = factories.MembershipFactory(company=company, role="owner")
    unit = factories.UnitFactory(company=company, code="U-1")
    brought(owner, {"readings.csv": "unit,date,line pressure [psi]\nU-1,3/4/2026,60\n"})
    assert f"{Reading.objects.get(unit=unit).taken_at:%Y-%m-%d}" == day
    brought(
        owner, {"readings.csv": "unit,date,line pressure [psi]\nU-1,3/13/2026,60\nU-1,3/14/2026,60\nU-1,3/5/2026,61\n"}
    )
    assert Reading.objects.filter(unit=unit, taken_at__month=3, taken_at__day=5).exists(), "the file tells"


@pytest.mark.django_db
def test_changes_come_in_any_order_and_each_finds_its_place(berlin: Membership) -> None:
    brought(berlin, GERMAN)
    rows = [
        "S01-1,sediment,SED5,2024-06-01,",
        "S01-1,sediment,SED5,2023-06-01,",
        "S01-1,sediment,SED5,2025-06-01,spent",
    ]
    result = brought(berlin, {"changes.csv": "\n".join(["unit,stage,item,changed,reason", *rows])})
    assert [row.outcome for row in result.pages[0].rows] == [Outcome.MADE] * 3
    stays = Placement.objects.filter(position__unit__code="S01-1", position__stage="sediment").order_by("placed_at")
    assert [(f"{stay.placed_at:%Y}", stay.removed_at and f"{stay.removed_at:%Y}", stay.removal) for stay in stays] == [
        ("2023", "2024", "unknown"),
        # a list of changes says why what was changed that day left
        ("2024", "2025", "exhausted"),
        ("2025", "2026", "unknown"),
        ("2026", None, ""),
    ]
    open_stay = "unit,stage,item,placed,removed,reason\nS01-1,sediment,SED5,2026-03-04,,spent\n"
    assert "nobody can tell which cartridge" in told(brought(berlin, {"changes.csv": open_stay}), "placements")[0]
    later = brought(
        berlin, {"changes.csv": "unit,stage,item,placed,removed\nS01-1,sediment,SED5,2024-01-01,2026-01-01\n"}
    )
    assert later.pages[0].rows[0].outcome == Outcome.REFUSED
    assert "SED5 stood there from 2024-06-01 until 2025-06-01" in later.pages[0].rows[0].remarks[0]


@pytest.mark.django_db
def test_a_count_of_stock_is_taken_over_and_never_added(berlin: Membership) -> None:
    brought(berlin, GERMAN)
    for pieces in (6, 6, 4):
        brought(berlin, {"stock.csv": f"item,quantity\nSED5,{pieces}\n"})
    assert StockLevel.objects.get().quantity == 4


@pytest.mark.django_db
def test_a_count_in_a_van_that_is_not_known_is_not_taken_for_the_stores(berlin: Membership) -> None:
    brought(berlin, GERMAN)
    brought(berlin, {"stock.csv": "item,quantity\nSED5,12\n"})
    result = brought(berlin, {"stock.csv": "item,installer,quantity\nSED5,Bo,2\n"})
    assert "There is no installer 'Bo'" in result.pages[0].rows[0].remarks[0]
    assert StockLevel.objects.get().quantity == 12


@pytest.mark.django_db
def test_a_slip_in_the_code_of_a_site_moves_nobodys_site(berlin: Membership) -> None:
    brought(berlin, GERMAN)
    row = "Praxis,Ringgasse 12,S01,S01-9,lab,ro,2024-01-03\n"
    result = brought(berlin, {"units.csv": f"client,address,site,code,use,kind,commissioned\n{row}"})
    assert "'S01' is a site of Café Ufer, not of Praxis" in told(result, "units")[0]
    assert Site.objects.get(code="S01").client.name == "Café Ufer"


@pytest.mark.django_db
def test_the_code_of_a_unit_is_no_code_of_its_site(berlin: Membership) -> None:
    row = "Bar,Quay 1,53.5,9.9,BAR-RO,coffee,ro,2024-01-03,90\n"
    brought(berlin, {"units.csv": f"client,address,lat,lon,code,use,kind,commissioned,weekly use [L]\n{row}"})
    assert Unit.objects.get(code="BAR-RO").site.code == "S01"


@pytest.mark.django_db
def test_readings_are_known_by_their_quantities_and_a_refusal_gives_its_reason(berlin: Membership) -> None:
    brought(berlin, GERMAN)
    log = "Unit;Date;Permeate TDS [ppm];Totaliser [m3];Note\nS01-1;4.3.2026;12;12,3;hat getropft\n"
    assert brought(berlin, {"Messwerte.csv": log}).pages[0].sheet == "readings"
    train = "site,code,use,kind,commissioned,train\nS01,S01-8,lab,ro,2024-01-03,sediment/charcole\n"
    assert "'charcole' is not one of" in told(brought(berlin, {"units.csv": train}), "units")[0]


@pytest.mark.django_db
def test_digits_are_a_code_and_never_an_id(berlin: Membership) -> None:
    client = factories.ClientFactory(company=berlin.company, name="Bar")
    result = brought(berlin, {"sites.csv": f"client,code,lat,lon\n{client.pk},S1,53,10\n"})
    assert result.count(Outcome.REFUSED) == 1
    assert "There is no client" in result.pages[0].rows[0].remarks[0]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("clients.xlsx", b"no workbook", "no workbook"),
        ("clients.csv", b"", "empty"),
        ("clients.csv", b"\x00\x01", "binary"),
        ("clients.csv", b'name\n"open', "cannot be read"),
    ],
)
def test_a_file_that_cannot_be_read_is_named(berlin: Membership, name: str, content: bytes, sentence: str) -> None:
    result = bring_in(by=berlin, files={name: content}, now=NOW, is_trial=False)
    assert sentence in result.troubles[name]


@pytest.mark.django_db
def test_the_pages_of_a_workbook_are_sheets(as_owner: APIClient, company: Company) -> None:
    book = Workbook()
    clients, sites = book.active, book.create_sheet("Sites")
    assert clients is not None
    clients.title = "Customers"
    for row in (["Customer", "Tel"], ["Example Bar", 405550100], ["Other Bar", None]):
        clients.append(row)
    for row in (
        ["customer", "site code", "lat", "lng", "opening hours"],
        ["example bar", "S7", 53.5, 9.9, "Mon-Fri 8-17"],
    ):
        sites.append(row)
    content = io.BytesIO()
    book.save(content)
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("all.xlsx", content.getvalue())
    for store, count in (("false", 0), ("true", 1)):
        archive.seek(0)
        archive.name = "company.zip"
        answer = as_owner.post("/api/v1/imports/", {"file": archive, "store": store}, "multipart")
        assert answer.status_code == 200, answer.content
        assert [(page["sheet"], page["made"]) for page in answer.json()["pages"]] == [("clients", 2), ("sites", 1)]
        assert Site.objects.of_company(company).filter(code="S7").count() == count
    assert Site.objects.get(code="S7").access_windows.count() == 5


@pytest.mark.django_db
def test_a_workbook_that_unpacks_to_gigabytes_is_not_unpacked(berlin: Membership) -> None:
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as packed:
        for number in range(3):
            packed.writestr(f"xl/{number}.xml", bytes(80_000_000))
    result = bring_in(by=berlin, files={"clients.xlsx": bomb.getvalue()}, now=NOW, is_trial=False)
    assert "unpacks to 240000000 bytes" in result.troubles["clients.xlsx"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("limit", "most", "sentence"), [("MOST_CELLS", 5, "more than 5 cells"), ("MOST_CELL", 4, "Row 2")]
)
def test_a_workbook_is_read_up_to_its_limits(
    berlin: Membership, monkeypatch: pytest.MonkeyPatch, limit: str, most: int, sentence: str
) -> None:
    book, content = Workbook(), io.BytesIO()
    for row in (("name", "note"), ("Example Bar", ""), ("Example Lab", "")):
        book.active.append(row)
    book.save(content)
    monkeypatch.setattr(pages, limit, most)
    result = bring_in(by=berlin, files={"clients.xlsx": content.getvalue()}, now=NOW, is_trial=False)
    assert sentence in result.troubles["clients.xlsx"]
    assert not Client.objects.exists()


_SHEET = "xl/worksheets/sheet1.xml"


def workbook_with(change: Callable[[str], str]) -> bytes:
    """A workbook of one client, whose page was changed by hand afterwards."""
    book, written, changed = Workbook(), io.BytesIO(), io.BytesIO()
    for row in (("name", "note"), ("Example Bar", "")):
        book.active.append(row)
    book.save(written)
    with zipfile.ZipFile(written) as before, zipfile.ZipFile(changed, "w", zipfile.ZIP_DEFLATED) as after:
        for entry in before.infolist():
            content = before.read(entry)
            after.writestr(entry, change(content.decode()) if entry.filename == _SHEET else content)
    return changed.getvalue()


def with_entities(sheet: str) -> str:
    """XML that means gigabytes, or a file of the server (XML 1.0, section 4.2)."""
    meant = '<!DOCTYPE worksheet [<!ENTITY file SYSTEM "file:///etc/hostname"><!ENTITY b "&file;&file;">]>'
    row = '<row r="3"><c t="inlineStr"><is><t>&b;</t></is></c></row>'
    return meant + sheet.replace("</sheetData>", f"{row}</sheetData>")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (with_entities, "no workbook that can be read"),
        (lambda sheet: sheet[: len(sheet) // 2], "no workbook that can be read"),
        (lambda sheet: sheet.replace('r="2"', 'r="1048576"').replace("A2", "A1048576"), "goes on below row"),
    ],
)
def test_a_workbook_that_is_made_to_keep_the_server_busy_is_refused(
    berlin: Membership, change: Callable[[str], str], sentence: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pages, "MOST_ROWS", 1000)
    result = bring_in(by=berlin, files={"clients.xlsx": workbook_with(change)}, now=NOW, is_trial=False)
    assert sentence in result.troubles["clients.xlsx"]
    assert not Client.objects.exists()


@pytest.mark.django_db
def test_many_small_workbooks_are_no_way_around_the_limits_of_one(
    berlin: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = workbook_with(str)
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        tags = sum(packed.read(entry).count(b"<") for entry in packed.infolist())
    monkeypatch.setattr(pages, "MOST_TAGS", 2 * tags)
    files = {f"clients {number}.xlsx": content for number in range(3)}
    result = bring_in(by=berlin, files=files, now=NOW, is_trial=True)
    assert list(result.troubles) == ["clients 2.xlsx"]
    assert f"more than {2 * tags} marks" in result.troubles["clients 2.xlsx"]


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["a.pdf", "a.zip"])
def test_what_is_no_sheet_is_refused(as_owner: APIClient, name: str) -> None:
    file = io.BytesIO(b"%PDF")
    file.name = name
    refused = as_owner.post("/api/v1/imports/", {"file": file}, "multipart")
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "/file"


@pytest.mark.django_db
def test_templates_can_be_filled_in_and_their_explanations_are_not_read(berlin: Membership, tmp_path: Path) -> None:
    call_command("bring_in", str(tmp_path), "--templates", stdout=io.StringIO())
    path = tmp_path / "clients.csv"
    path.write_text(path.read_text() + "Example Bar,bar@client.example,,\n")
    out = io.StringIO()
    call_command("bring_in", str(tmp_path), "--company", berlin.company.name, stdout=out)
    assert "1 would be made" in out.getvalue()
    assert "refused" not in out.getvalue().split("A trial")[0]
    assert "not known" not in out.getvalue()
    call_command("bring_in", str(tmp_path), "--company", berlin.company.name, "--store", stdout=io.StringIO())
    assert Client.objects.get().name == "Example Bar"
    with pytest.raises(CommandError, match="is no directory"):
        call_command("bring_in", str(tmp_path / "none"), "--company", berlin.company.name)


@pytest.mark.django_db
def test_a_site_without_coordinates_comes_in_and_goes_out_and_is_told_to_be_completed(berlin: Membership) -> None:
    sheet = {"units.csv": "customer,address,type,use,weekly demand [L]\nCafé Ufer,Uferweg 3,RO,coffee,300\n"}
    result = brought(berlin, sheet)
    (site,) = Site.objects.all()
    assert (site.location, site.address) == (None, "Uferweg 3")
    assert told(result, "sites") == ["Site S01 stands in no round until its latitude and longitude are given."]
    assert brought(berlin, sheet).count(Outcome.LEFT) == 3
    taken = dict(take_out(company=berlin.company, by=berlin))
    Unit.objects.all().delete()
    Site.objects.all().delete()
    brought(berlin, taken)
    assert Site.objects.get().location is None
    brought(berlin, {"sites.csv": "code,client,lat,lon\nS01,Café Ufer,53.5,10.0\n"})
    assert Site.objects.get().location == (53.5, 10.0)


@pytest.mark.django_db
def test_what_a_label_does_not_say_is_assumed_told_and_assumed_anew_elsewhere(berlin: Membership) -> None:
    sheet = "code,name,kind,price,rated flow [gpd],rated tds [ppm]\nM75,membrane,membrane,30,75,500\n"
    result = brought(berlin, {"catalogue.csv": sheet})
    item = CatalogueItem.objects.get()
    assert told(result, "catalogue") == [
        "Not given, and assumed as usual of its kind: membrane material polyamide, rejection 0.96, rated pressure "
        "414 kPa, rated temperature 25 degC, rated recovery 0.15; put right what its label says otherwise."
    ]
    taken = dict(take_out(company=berlin.company, by=berlin))
    assert brought(berlin, taken).count(Outcome.LEFT) == 1
    item.delete()
    brought(berlin, taken)
    assert CatalogueItem.objects.get().assumed == item.assumed
    stated = "code,name,kind,price,rejection,rated flow [gpd],rated tds [ppm]\nM75,membrane,membrane,30,0.96,75,500\n"
    assert brought(berlin, {"catalogue.csv": stated}).count(Outcome.CHANGED) == 1
    assert "rejection_fraction" not in CatalogueItem.objects.get().assumed


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("header", "written", "litres"),
    [
        ("weekly demand [L]", "80,5", 80.5),
        ("weekly demand", "80,5 L", 80.5),
        # 1 US gallon is 3.785411784 L (NIST SP 811, appendix B)
        ("weekly demand [US gal]", "20", 75.70823568),
        ("weekly demand [US gal/day]", "2", 52.995764976),
    ],
)
def test_a_demand_is_read_in_the_unit_that_its_header_or_cell_states(
    berlin: Membership, header: str, written: str, litres: float
) -> None:
    brought(berlin, {"units.csv": f"code;customer;use;{header}\nU1;Ufer;reef;{written}\n"})
    assert Unit.objects.get().weekly_demand_l == pytest.approx(litres)


@pytest.mark.django_db
def test_a_demand_without_a_unit_and_a_mistyped_word_are_told_with_what_would_be_right(berlin: Membership) -> None:
    said = " ".join(
        told(brought(berlin, {"units.csv": "code;customer;use;weekly demand\nU1;Ufer;reff;80,5\n"}), "units")
    )
    assert "A number alone does not say its unit" in said
    assert "did you mean 'reef'?" in said
