"""Sheets written as people speak, each cell of which was read wrongly or refused once."""

import io
from typing import Any

import pytest
from openpyxl import Workbook

from accounts.models import Company
from fleet.models import CatalogueItem, Placement, Reading, Site, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import BroughtIn, Outcome
from scheduling.company_files.take_out import take_out
from scheduling.models import StockLevel
from tests import factories
from tests.scheduling.company_files.test_first_sheets import NOW, told

LITRES_OF_A_GALLON = 3.785411784
"""By definition (NIST SP 811)."""

GERMAN = {
    "Kundenliste.csv": "Name;Straße;Ort\nBrennmoor Aquaristik;Moorgasse 4;Hinterlund\nCafé Rothkehl;Markt 2;Strand\n",
    "Lager.csv": (
        "Artikel;Bezeichnung;Art;Lieferant;Preis;VPE;Bestand\n"
        "SED5;Sedimentfilter;Sedimentfilter;Torfkamp;3,90 €;10;14\n"
        "M75;Membran 75 GPD;Membran;Süderbrook;69,-;1;1\n"
        "M300;Membran 300 GPD;Membran;Süderbrook;119;1;\n"
        "ORI;O-Ringe;Kleinteil;Torfkamp;0,80;20;31\n"
    ),
    "Wechsel.csv": "Datum;Anlage;Was;Grund\n2.11.2025;A1;Vorfilter;zu\n1.3.2026;A1;Vorfilter;nach Plan\n",
    "Messungen.csv": (
        "Anlage;Datum;Uhrzeit;Leitwert Zulauf [µS/cm];Druck vor Filter [bar];Druck nach Filter [bar];Permeat [l/h]\n"
        "A1;14.8.2026;17 Uhr;612;3,9;3,6;9,1\nR1;15.8.2026;abends;481;4,2;4,0;38\n"
    ),
}
UNITED_STATES = {
    "customers.csv": "Customer,Address,City\nDr. Pell Dental,8 Quarry Ln,Millrace\nRidge Reef Club,400 Summit,Ostler\n",
    "units.csv": (
        "Unit ID,Customer,Type,Location,Gallons per week,Membrane size,Membrane changed\n"
        "PD-1,Dr Pell Dental,RO/DI,closet,40,75 gpd,7/13/2024\n"
        'RR-1,Ridge Reef Club,RODI,sump room,"1,060",300 gpd,3/9/2025\n'
        "SP-1,,RO,spare in shop,,75 gpd,\n"
    ),
    "inventory.csv": (
        "Part #,Description,Kind,Vendor,Price each,On hand\n"
        "MEM-75,75 gpd membrane,membrane,Tideworks,$44,1\nMEM-300,300 gpd membrane,membrane,Tideworks,$105,\n"
    ),
    "readings log.csv": "Date,Time,Unit,Line psi,PSI after filters,Product gpd\n10/19/2026,2 PM,PD-1,58,55,122\n",
}


def _workbook(*rows: list[Any]) -> bytes:
    book, content = Workbook(), io.BytesIO()
    assert book.active is not None
    book.active.title = "Anlagen"
    for row in rows:
        book.active.append(row)
    book.save(content)
    return content.getvalue()


def _brought(company: Company, files: dict[str, bytes]) -> BroughtIn:
    owner = factories.MembershipFactory(company=company, role="owner")
    return bring_in(by=owner, files=files, now=NOW, is_trial=False)


def _refused(result: BroughtIn) -> list[tuple[str, int]]:
    return [(page.sheet, row.line) for page in result.pages for row in page.rows if row.outcome == Outcome.REFUSED]


@pytest.mark.django_db
def test_a_german_company() -> None:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    units = _workbook(
        ["Anlage", "Kunde", "Art", "Liter pro Woche", "Membran", "Membran gewechselt", "Breite", "Länge"],
        ["A1", "Brennmoor Aquaristik", "Osmose + Harz", 180, "75 GPD", "2.5.2024", "0,0331", "0,0512"],
        ["A2", "Brennmoor Aquaristik", "Osmose", "1.200", "300 GPD", "3.5.2025", "0,0331", "0,0512"],
        ["R1", "Café Rothkehl", "Osmose", 600, "300 GPD", "11.1.2026", 0.082, 0.1],
        ["N1", None, "Osmose+Harz", 100, "75 GPD", None, None, None],
    )
    result = _brought(company, {name: text.encode() for name, text in GERMAN.items()} | {"Anlagen.xlsx": units})
    assert _refused(result) == []
    assert list(Site.objects.order_by("code").values_list("code", "latitude", "is_known")) == [
        ("N1-site", None, False),
        ("S01", 0.0331, True),
        ("S02", 0.082, True),
    ], "coordinates in a sheet of units are those of the client's only site"
    assert dict(Unit.objects.values_list("code", "kind")) == {"A1": "ro_di", "A2": "ro", "R1": "ro", "N1": "ro_di"}
    assert Unit.objects.get(code="A2").weekly_demand_l == 1200.0, "a point groups thousands where a comma is decimal"
    fitted = Placement.objects.filter(removed_at=None, item__kind="membrane")
    assert dict(fitted.values_list("position__unit__code", "item__code")) == {"A1": "M75", "A2": "M300", "R1": "M300"}
    prices = dict(CatalogueItem.objects.values_list("code", "price"))
    assert {code: float(price) for code, price in prices.items()} == {"SED5": 3.9, "M75": 69, "M300": 119, "ORI": 0.8}
    assert dict(StockLevel.objects.values_list("item__code", "quantity")) == {"SED5": 14, "M75": 1, "ORI": 31}
    assert Placement.objects.get(item__code="SED5", removed_at__isnull=False).removal == "routine"
    early, late = Reading.objects.order_by("taken_at")
    assert (early.taken_at.isoformat(), early.taken_on) == ("2026-08-14T15:00:00+00:00", None)
    assert early.line_pressure_kpa == pytest.approx(390.0)
    assert early.prefilter_outlet_pressure_kpa == pytest.approx(360.0)
    assert early.permeate_flow_l_per_day == pytest.approx(218.4)
    assert str(late.taken_on) == "2026-08-15"
    assert "Uhrzeit: 'abends' is no hour of the day; write 08:30; the day is kept without it." in told(
        result, "readings"
    )


@pytest.mark.django_db
def test_a_company_of_the_united_states() -> None:
    company = factories.CompanyFactory(time_zone="America/Chicago", unit_system="us", currency="USD")
    files = {name: text.encode() for name, text in UNITED_STATES.items()}
    result = _brought(company, files)
    assert _refused(result) == []
    assert "'Dr Pell Dental' is taken as 'Dr. Pell Dental'" in told(result, "units")
    assert dict(Unit.objects.values_list("code", "site__client__name")) == {
        "PD-1": "Dr. Pell Dental",
        "RR-1": "Ridge Reef Club",
        "SP-1": "Client not known",
    }
    assert Site.objects.filter(is_known=True).count() == 2, "a room is no address"
    assert Unit.objects.get(code="RR-1").weekly_demand_l == pytest.approx(1060 * LITRES_OF_A_GALLON)
    fitted = Placement.objects.filter(removed_at=None, item__kind="membrane")
    assert dict(fitted.values_list("position__unit__code", "item__code")) == {"PD-1": "MEM-75", "RR-1": "MEM-300"}
    reading = Reading.objects.get()
    assert reading.taken_at.isoformat() == "2026-10-19T19:00:00+00:00"
    assert reading.prefilter_outlet_pressure_kpa == pytest.approx(55 * 6.894757, rel=1e-5)  # psi: NIST SP 811
    assert reading.permeate_flow_l_per_day == pytest.approx(122 * LITRES_OF_A_GALLON)


@pytest.mark.django_db
def test_a_site_that_is_not_known_goes_out_and_comes_in_again() -> None:
    company = factories.CompanyFactory(time_zone="America/Chicago", unit_system="us", currency="USD")
    owner = factories.MembershipFactory(company=company, role="owner")
    bring_in(by=owner, files={n: t.encode() for n, t in UNITED_STATES.items()}, now=NOW, is_trial=False)
    out = dict(take_out(company=company, by=owner))
    again = bring_in(by=owner, files={n: t.encode() for n, t in out.items()}, now=NOW, is_trial=False)
    assert {row.outcome for page in again.pages for row in page.rows} == {Outcome.LEFT}
    twin = factories.CompanyFactory(time_zone="America/Chicago", unit_system="us", currency="USD")
    other = factories.MembershipFactory(company=twin, role="owner")
    bring_in(by=other, files={n: t.encode() for n, t in out.items()}, now=NOW, is_trial=False)
    assert dict(take_out(company=twin, by=other)) == out
    assert Site.objects.get(company=twin, is_known=False).units.get().code == "SP-1"
