"""Sheets as an office in Germany and one in the United States keep them, with headers and words of their own."""

from datetime import UTC, date, datetime

import pytest

from accounts.models import Client, Company, Membership
from fleet.models import CatalogueItem, FeedWaterSample, Placement, Reading, Site, Supplier, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import BroughtIn, Outcome
from scheduling.models import StockLevel
from tests import factories

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)

GERMAN = {
    "Kunden.csv": (
        "Kunde;Ansprechpartner;Straße;PLZ;Ort;Telefon;E-Mail;Bemerkung\n"
        "Familie Trost;Frau Ilm;Am Anger 12;99101;Wiedenbrügg;0399 1;trost@example.org;Hund\n"
        "Zahnlabor Perl;;Lindenallee 8;99102;Ostrahlen;;;\n"
    ),
    "Anlagen.csv": (
        "Anlage;Kunde;Einsatz;Seriennummer;Inbetriebnahme;Leistung l/Tag;Vorfilter gewechselt am;Membran gewechselt am;"
        "Harz gewechselt am\n"
        "A1;Familie Trost;Trinkwasser;SK 7;Mai 2022;190;11.05.2026;03.03.2025;\n"
        "A2;Zahnlabor Perl;Labor;;;1.500;17.06.2026;17.06.2025;02.11.2026\n"
        "A3;Fam. Trost;Trinkwasser;;1.2.2024;190;;;\n"
    ),
    "Wechsel.csv": (
        "Datum;Anlage;Filter;Artikel;Grund\n"
        "02.11.2026;A2;Harz;HARZ50;erschöpft\n"
        "02.05.2026;A2;Harz;HARZ-50;verbraucht\n"
        "17.06.2026;A2;Vorfilter;SED-10;verstopft, braun\n"
        "17.12.2025;A2;Vorfilter;SED-10;turnusmäßig\n"
        "11.11.2025;A1;Vorfilter;SED-10;erschöpt\n"
    ),
    "Messwerte.csv": (
        "Datum;Uhrzeit;Anlage;Leitwert Zulauf µS/cm;Leitwert Permeat µS/cm;Druck bar;Leitungsdruck bar;Wer\n"
        "12.02.2026;09:30;A1;520;k.A.;3,1;3,8;Jens\n"
        "25.10.2026;02:30;A1;520;14;3,1;3,8;Jens\n"
        "29.03.2026;02:30;A1;520;14;3,1;3,8;Jens\n"
    ),
    "Wasser.csv": "Ort;Datum;Härte °dH;Leitwert µS/cm\nOstrahlen;01.03.2026;18;608\nNirgends;01.03.2026;18;608\n",
    "Artikel.csv": (
        "Artikel;Bezeichnung;Art;Größe;Lieferant;Preis €;VE;Lieferzeit Tage;Bestand\n"
        'SED-10;Vorfilter 5 µm;Vorfilter;10";Filterhandel Grote;4,20;10;3;14\n'
        "MEM-50;Membran 190 l/Tag;Membran;1812;Membranen Ost;38,00;1;7;2\n"
        "MEM-400;Membran 1500 l/Tag;Membran;3012;Membranen Ost;1.129,00;1;14;\n"
        "HARZ-12;Mischbettharz 1,2 l;Harz;;Harzkontor;24,50;2;10;3\n"
        "HARZ-50;Mischbettharz 5 l;Harz;;Harzkontor;98,00;1;10;1\n"
    ),
}
STATES = {
    "Customers.csv": (
        "Customer,Contact,Street,City,State,ZIP,Cell\nHarbor Roast,Dee,12 Pier St,Saltmarsh,ZZ,00101,555\n"
    ),
    "Units.csv": (
        "Unit,Customer,Use,Serial,Installed,GPD,Sediment changed,Membrane changed,DI changed\n"
        "U1,Harbor Roast,freshwater,C-1,5/3/2023,100,06/12/2026,2/15/2024,9/1/2026\n"
    ),
    "Changes.csv": "Date,Unit,What,Part,Why\n6/12/2026,U1,sediment,SED-10,plugged\n12/1/2025,U1,sediment,SED-10,PM\n",
    "Parts.csv": (
        "Part,Description,Type,Vendor,Price $,Pack,Lead days,On hand\n"
        'SED-10,Sediment,sediment,Harbor Supply,4.20,10,3,"1,014"\n'
        "MEM-50,Membrane 50 gpd,membrane,Eastern,38,1,7,2\n"
        "MEM-100,Membrane 100 gpd,membrane,Eastern,45,1,7,2\n"
        "DI-12,Mixed bed 1.2 L,DI resin,Juniper,24.50,2,10,3\n"
    ),
    "Readings.csv": (
        "Date,Time,Unit,Feed TDS ppm,Line pressure psi,Water temp °F,Production gpd,Tech\n"
        "2/12/2026,9:30 AM,U1,265,55,50,98,Jim\n"
    ),
}


def brought(company: Company, files: dict[str, str]) -> BroughtIn:
    owner: Membership = factories.MembershipFactory(company=company, role="owner")
    content = {name: text.encode("cp1252") for name, text in files.items()}
    return bring_in(by=owner, files=content, now=NOW, is_trial=False)


def refused(result: BroughtIn) -> list[tuple[str, int]]:
    return [(page.sheet, row.line) for page in result.pages for row in page.rows if row.outcome == Outcome.REFUSED]


def told(result: BroughtIn, origin: str) -> str:
    pages = [page for page in result.pages if page.origin == origin]
    return "\n".join(
        [remark for page in pages for remark in page.remarks]
        + [remark for page in pages for row in page.rows for remark in row.remarks]
    )


@pytest.fixture
def german() -> tuple[Company, BroughtIn]:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    return company, brought(company, GERMAN)


@pytest.mark.django_db
def test_a_company_in_germany(german: tuple[Company, BroughtIn]) -> None:
    company, result = german
    # the client misspelt, the hour that never was, and the town without a site
    assert refused(result) == [("units", 4), ("feed_water", 3), ("readings", 4)]
    assert "There is no client 'Fam. Trost'; did you mean 'Familie Trost'?" in told(result, "Anlagen.csv")
    client = Client.objects.get(name="Familie Trost")
    assert (client.phone, client.notes) == ("0399 1", "Hund; ask for Frau Ilm")
    assert set(Site.objects.values_list("client__name", "address")) == {
        ("Familie Trost", "Am Anger 12, 99101 Wiedenbrügg"),
        ("Zahnlabor Perl", "Lindenallee 8, 99102 Ostrahlen"),
    }
    first, second = Unit.objects.order_by("code")
    assert (first.kind, first.use, first.commissioned_on) == ("ro", "drinking", date(2022, 5, 1))
    assert first.notes == "serial number SK 7"
    # not known when it began: the list of changes speaks of it first
    assert (second.kind, second.use, second.commissioned_on) == ("ro_di", "laboratory", date(2025, 6, 17))
    assert "weekly demand: not known, taken as 40 L, usual of its use" in told(result, "Anlagen.csv")
    # of two membranes the one that makes what the unit does
    membranes = Placement.objects.filter(position__stage="membrane").order_by("position__unit__code")
    assert [stay.item.code for stay in membranes] == ["MEM-50", "MEM-400"]
    assert brought(company, GERMAN).count(Outcome.MADE) == 0


@pytest.mark.django_db
def test_reasons_of_a_list_of_changes_are_said_of_what_was_changed(german: tuple[Company, BroughtIn]) -> None:
    stays = Placement.objects.filter(position__unit__code="A2").exclude(removed_at=None).order_by("position__stage")
    assert [(stay.position.stage, stay.item.code, stay.removal) for stay in stays] == [
        ("resin", "HARZ-50", "exhausted"),
        ("sediment", "SED-10", "exhausted"),
    ]
    said = told(german[1], "Wechsel.csv")
    assert "Grund: 'verstopft, braun' is taken as 'clogged'." in said
    assert "did you mean 'erschoepft', which is 'exhausted'?" in said
    assert "Artikel: 'HARZ50' is taken as 'HARZ-50'." in said
    assert "Grund: no earlier cartridge is known there" in said


@pytest.mark.django_db
def test_what_is_bought_read_and_measured(german: tuple[Company, BroughtIn]) -> None:
    result = german[1]
    assert dict(Supplier.objects.values_list("name", "lead_time_days")) == {
        "Filterhandel Grote": 3,
        "Membranen Ost": 7,
        "Harzkontor": 10,
    }
    prices = dict(CatalogueItem.objects.values_list("code", "price"))
    assert (float(prices["MEM-400"]), float(prices["HARZ-12"])) == (1129.0, 24.5)
    assert CatalogueItem.objects.get(code="HARZ-12").resin_volume_l == pytest.approx(1.2)
    assert dict(StockLevel.objects.values_list("item__code", "quantity")) == {
        "SED-10": 14, "MEM-50": 2, "HARZ-12": 3, "HARZ-50": 1,
    }  # fmt: skip
    sample = FeedWaterSample.objects.get()
    # 1 dH is 17.8 mg/L as CaCO3: 10 mg/L of CaO, of 56.08 g/mol, as CaCO3, of 100.09 g/mol (DIN 38409-6, from memory).
    assert sample.hardness_mg_per_l_as_caco3 == pytest.approx(18 * 17.848, rel=1e-3)
    early, twice = Reading.objects.order_by("taken_at")
    assert (early.person, early.permeate_tds_mg_per_l, early.line_pressure_kpa) == ("Jens", None, pytest.approx(380.0))
    assert early.feed_tds_mg_per_l == pytest.approx(260.0)
    assert [flag["code"] for flag in twice.flags] == ["time_came_twice"]
    assert "Column 'Druck bar' is not read: this can mean more than one thing" in told(result, "Messwerte.csv")


@pytest.mark.django_db
def test_a_sheet_of_items_is_no_count_of_what_was_used_since(german: tuple[Company, BroughtIn]) -> None:
    StockLevel.objects.filter(item__code="SED-10").update(quantity=11)
    brought(german[0], {"Artikel.csv": GERMAN["Artikel.csv"]})
    assert StockLevel.objects.get(item__code="SED-10").quantity == 11


@pytest.mark.django_db
def test_a_company_in_the_united_states() -> None:
    company = factories.CompanyFactory(time_zone="America/Chicago", unit_system="us", currency="USD")
    result = brought(company, STATES)
    assert refused(result) == []
    assert Site.objects.get().address == "12 Pier St, Saltmarsh, ZZ 00101"
    assert Client.objects.get().phone == "555"
    unit = Unit.objects.get()
    assert (unit.kind, unit.use, unit.commissioned_on) == ("ro_di", "planted", date(2023, 5, 3))
    assert Placement.objects.get(position__stage="membrane").item.code == "MEM-100"
    assert Placement.objects.get(position__stage="resin").item.code == "DI-12"
    first = Placement.objects.filter(position__stage="sediment").order_by("placed_at")[0]
    assert (first.placed_at.date(), first.removed_at and first.removed_at.date(), first.removal) == (
        date(2025, 12, 1), date(2026, 6, 12), "exhausted",
    )  # fmt: skip
    assert StockLevel.objects.get(item__code="SED-10").quantity == 1014
    reading = Reading.objects.get()
    # 1 psi = 6.894757293168 kPa and 1 US gallon = 3.785411784 L (NIST SP 811); 50 degF is 10 degC.
    assert reading.line_pressure_kpa == pytest.approx(55 * 6.894757293168)
    assert reading.permeate_flow_l_per_day == pytest.approx(98 * 3.785411784)
    assert (reading.temperature_degc, reading.person) == (pytest.approx(10.0), "Jim")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("header", "cell", "litres"),
    [("Verbrauch l/Woche", "1.300", 1300.0), ("Verbrauch l/Woche", "13.5", 13.5), ("Verbrauch l/Tag", "10", 70.0)],
)
def test_points_alone_before_three_digits_group_thousands_where_commas_are_decimal(
    header: str, cell: str, litres: float
) -> None:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    brought(company, {"Anlagen.csv": f"Anlage;Kunde;Einsatz;{header}\nA1;Café;Kaffee;{cell}\n"})
    assert Unit.objects.get().weekly_demand_l == pytest.approx(litres)
