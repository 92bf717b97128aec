"""Sheets of an owner in the United States: filters by their size, 'DI 1' and 'DI 2', a notebook, names under 'By'."""

from datetime import UTC, datetime

import pytest

from accounts.models import Company, Membership
from fleet.models import CatalogueItem, Placement, Reading, Supplier, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.notebook import in_columns
from scheduling.company_files.outcome import BroughtIn
from scheduling.company_files.pages import pages_of
from tests import factories

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
SHEETS = {
    "Customers.csv": "Customer,Street,City\nHarlow,18 Gull Ln,Port Ansel\nQuincey,9 Elm Ct,Port Ansel\n",
    "Units.csv": (
        "Unit,Customer,Room,Type,Used for,Installed,Membrane GPD,10in sediment,DI 1,DI 2\n"
        "HR-1,Harlow,basement,RODI,reef tanks,3/14/2024,75,8/3/2026,9/15/26,5/2/2026\n"
        "QD-1,Quincey,closet,RODI,lab,1/22/2025,50,6/18/2026,6/18/2026,\n"
    ),
    "Parts.csv": (
        "Part #,Description,Stage,Size,Supplier,Cost,Rated gallons,Pack of,In shop\n"
        "SED,5 micron 10in,sediment,10 in,Cape,$3.20,,25,30\n"
        'CB,carbon block,carbon block,10 in,Cape,$6.75,"2,500 gal",12,4\n'
        "MEM-50,50 gpd,membrane,1812,Bay,$24,,1,1\n"
        "MEM-75,75 gpd,membrane,1812,Bay,$29.50,,1,3\n"
        "DI,mixed bed,DI,10 in,Cape,$14.90,,6,9\n"
        "ORING,o-ring,o-ring,10 in,Cape,$0.60,,50,22\n"
    ),
    "Suppliers.csv": "Supplier,Contact,Phone,Lead time\nCape,Ines,555,4 days\nBay,,,2 weeks\n",
    "Changes.csv": (
        "Date,Unit,Stage,Part,Reason\n"
        "5/2/2026,HR-1,DI 1,DI,used up\n"
        "9/15/2026,HR-1,DI 1,DI,used up\n"
        "6/18/2026,QD-1,DI 1,DI,\n"
        "6/18/2026,QD-1,DI 2,DI,\n"
    ),
    "Readings.csv": (
        "Date,Time,Unit,Tap TDS (ppm),RO TDS ppm,DI TDS,RO flow GPD,By,Notes\n"
        "10/20/2026,10:15 AM,HR-1,291,10,1,66,Jo,\n"
        "11/18/2026,11:10 AM,QD-1,7,244,0,45,Dana,\n"
    ),
    "notebook.csv": (
        "when,unit,what,value,who\n"
        "11/9/2026,HR-1,tap tds,255 ppm,Ulf\n"
        "11/9/2026,HR-1,product tds,3 ppm,Ulf\n"
        "11/9/2026,HR-1,product tds,4 ppm,Ulf\n"
    ),
}


@pytest.fixture
def brought(db: None) -> BroughtIn:
    company: Company = factories.CompanyFactory(time_zone="America/New_York", unit_system="us", currency="USD")
    owner: Membership = factories.MembershipFactory(company=company, role="owner")
    files = {name: text.encode() for name, text in SHEETS.items()}
    return bring_in(by=owner, files=files, now=NOW, is_trial=False)


def told(brought: BroughtIn, origin: str) -> str:
    pages = [page for page in brought.pages if page.origin == origin]
    return " ".join(text for page in pages for text in (*page.remarks, *(r for row in page.rows for r in row.remarks)))


def test_what_an_owner_of_the_united_states_keeps_comes_in(brought: BroughtIn) -> None:
    first, second = Unit.objects.get(code="HR-1"), Unit.objects.get(code="QD-1")
    assert (first.use, first.name, second.use) == ("reef", "basement", "laboratory")
    # 'DI 1' is the lead where there is a second, and the only one where there is none
    assert [(p.stage, p.role) for p in first.positions.filter(stage="resin").order_by("order")] == [
        ("resin", "lead"),
        ("resin", "lag"),
    ]
    assert second.positions.get(stage="resin").role == "single"
    lead = Placement.objects.filter(position__unit=first, position__role="lead").order_by("placed_at")
    assert [(str(row.placed_at.date()), row.removal) for row in lead] == [
        ("2026-05-02", "exhausted"),
        ("2026-09-15", ""),
    ]
    sediment = Placement.objects.get(position__unit=first, position__stage="sediment")
    assert str(sediment.placed_at.date()) == "2026-08-03"
    assert "QD-1 has no second resin" in told(brought, "Changes.csv")
    carbon = CatalogueItem.objects.get(code="CB")
    # 2,500 US gallons of 3.785411784 L (NIST Handbook 44, appendix C)
    assert carbon.rated_volume_l == pytest.approx(2500 * 3.785411784)
    assert (carbon.pack_size, CatalogueItem.objects.get(code="ORING").kind) == (12, "small_part")
    suppliers = {row.name: (row.lead_time_days, row.notes) for row in Supplier.objects.all()}
    assert suppliers == {"Cape": (4, "ask for Ines; telephone 555"), "Bay": (14, "")}


def test_readings_keep_who_took_them_and_what_looks_doubtful_is_told(brought: BroughtIn) -> None:
    reading = Reading.objects.get(unit__code="HR-1", permeate_tds_mg_per_l=10.0)
    assert (reading.person, reading.product_tds_mg_per_l) == ("Jo", 1.0)
    # 66 US gallons a day
    assert reading.permeate_flow_l_per_day == pytest.approx(66 * 3.785411784)
    assert "Column 'DI TDS' names no unit; taken as ppm" in told(brought, "Readings.csv")
    assert "is above the feed" in told(brought, "Readings.csv")
    noted = Reading.objects.filter(unit__code="HR-1", person="Ulf").order_by("product_tds_mg_per_l")
    # the second value of the same thing is a look of its own
    assert [(row.feed_tds_mg_per_l, row.product_tds_mg_per_l) for row in noted] == [(255.0, 3.0), (None, 4.0)]


def test_a_capacity_without_a_unit_is_told_and_stops_nothing(db: None) -> None:
    owner: Membership = factories.MembershipFactory(role="owner")
    units = "unit,site,use,kind,commissioned,capacity,membrane changed\nU1,,reef,ro,2025-01-05,75,2025-01-05\n"
    outcome = bring_in(by=owner, files={"units.csv": units.encode()}, now=NOW, is_trial=False)
    assert "'75' has no unit" in told(outcome, "units.csv")
    assert Unit.objects.get().code == "U1"


def test_a_notebook_makes_one_row_of_each_look() -> None:
    text = "date,unit,what,value\n5/7,U1,psi,51\n5/7,U1,tap tds,255 ppm\n5/7,U1,psi,52\n5/8,U1,psi,50\n"
    (page,) = pages_of({"n.csv": text.encode()}, {})
    table = in_columns(page).table
    assert table.headers == ("date", "unit", "psi", "tap tds")
    assert table.rows == (
        (2, ("5/7", "U1", "51", "255 ppm")),
        (4, ("5/7", "U1", "52", "")),
        (5, ("5/8", "U1", "50", "")),
    )
