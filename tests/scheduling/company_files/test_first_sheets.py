"""Two small companies as people keep them: what they write is read, and what cannot be is left out of its row alone."""

from datetime import UTC, date, datetime

import pytest

from accounts.models import Company, Membership
from fleet.models import CatalogueItem, Placement, Reading, Site, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import BroughtIn, Outcome
from scheduling.models import StockLevel
from tests import factories

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
LITRES_OF_A_GALLON = 3.785411784
"""By definition (NIST SP 811)."""

STATES = {
    "items.csv": (
        "Part No,Description,Type,Price,Pack size\n"
        'SED5,"10"" sediment",sediment filter,$4.25,4\n'
        "CB5,carbon block,carbon block,$9.80,2\n"
        "RO100,100 gpd membrane,membrane,$48,1\n"
        'DI20,DI cartridge,DI resin,"$1,026.00",1\n'
    ),
    "systems.csv": (
        "Client,Street,Latitude,Longitude,Used for,Unit type,Date installed,Water use (gal/week),"
        "Last sediment change,Last DI change,Tank (gal)\n"
        'Harbor Roast,12 Pier St,44.501,-87.902,espresso machine,RO,5/3/2023,"1,100",06/12/2026,,3.2\n'
        "Linden House,5 Linden Ave,44.5O,-87.97,sauna,RO/DI,3/15/2024,100,9/15/2026,9/1/2026,\n"
    ),
    "inventory.csv": "Part No,On hand,Date\nSED5,8,11/24/2026\n",
    "readings.csv": (
        "Unit,Date,Line PSI,Temp (F),Feed TDS (ppm),RO TDS (ppm)\n"
        "S01-1,11/20/2026,61,51,305,9\n"
        "S01-1,31/31/2026,61,51,305,9\n"
    ),
}


def brought(company: Company, files: dict[str, str]) -> BroughtIn:
    owner: Membership = factories.MembershipFactory(company=company, role="owner")
    return bring_in(by=owner, files={name: text.encode() for name, text in files.items()}, now=NOW, is_trial=False)


def told(result: BroughtIn, sheet: str) -> str:
    pages = [page for page in result.pages if page.sheet == sheet]
    return "\n".join(
        [remark for page in pages for remark in page.remarks]
        + [remark for page in pages for row in page.rows for remark in row.remarks]
    )


@pytest.mark.django_db
def test_a_company_of_the_united_states() -> None:
    company = factories.CompanyFactory(time_zone="America/Chicago", unit_system="us", currency="USD")
    result = brought(company, STATES)
    refused = [(page.sheet, row.line) for page in result.pages for row in page.rows if row.outcome == Outcome.REFUSED]
    assert refused == [("readings", 3)]
    membrane = CatalogueItem.objects.get(code="RO100")
    assert membrane.rated_flow_l_per_day == pytest.approx(100 * LITRES_OF_A_GALLON)
    assert "taken as 100 gpd from its name" in told(result, "catalogue")
    first, second = Unit.objects.order_by("code")
    assert first.weekly_demand_l == pytest.approx(1100 * LITRES_OF_A_GALLON)
    assert first.tank_volume_l == pytest.approx(3.2 * LITRES_OF_A_GALLON)
    assert (first.use, second.use) == ("coffee", "other")
    assert "Used for: not known, taken as 'other'" in told(result, "units")
    resin = Placement.objects.get(position__unit=second, position__stage="resin")
    assert (resin.placed_at.date(), resin.item.code) == (date(2026, 9, 1), "DI20")
    assert StockLevel.objects.get().quantity == 8
    site = Site.objects.get(client__name="Linden House")
    assert (site.latitude, site.longitude, site.address) == (None, None, "5 Linden Ave")
    assert "one coordinate without the other is no place" in told(result, "sites")
    reading = Reading.objects.get()
    # 1 psi = 6.894757293168 kPa by the definitions of pound and inch (NIST SP 811).
    assert reading.line_pressure_kpa == pytest.approx(61 * 6.894757293168)
    assert told(result, "readings").count("31/31/2026") == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("header", "cell", "litres"),
    [
        ("weekly use [L]", "1.300", 1300.0),
        ("weekly use [L/week]", "70", 70.0),
        ("weekly use [L/day]", "10", 70.0),
        ("weekly use [L]", "10 L/day", 70.0),
        ("weekly use [L per day]", "4,5", 31.5),
    ],
)
def test_a_use_is_stated_by_the_week_or_by_the_day(header: str, cell: str, litres: float) -> None:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    head = f"customer;address;lat;lon;use;type;in service since;{header}\n"
    rows = f"A;Weg 1;53,5;9,9;Trinkwasser;RO;1.2.2024;{cell}\nB;Weg 2;535,6;9,9;Labor;RO;1.2.2024;2,5\n"
    result = brought(company, {"anlagen.csv": head + rows})
    assert Unit.objects.get(code="S01-1").weekly_demand_l == pytest.approx(litres)
    assert list(Unit.objects.order_by("code").values_list("use", flat=True)) == ["drinking", "laboratory"]
    assert "535.6 is no latitude, which lies from -90 to 90" in told(result, "sites")
    assert Site.objects.filter(latitude=None, longitude=None).count() == 1


@pytest.mark.django_db
def test_headers_that_are_units_and_units_of_no_site() -> None:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    files = {
        "artikel.csv": "item;name;type;price;micron\nSED;Sedimentfilter;sediment;3,90;5\n",
        "anlagen.csv": "customer;address;use;type;in service since;weekly use [L]\n;;reef;RO;1.1.2025;100\n",
    }
    result = brought(company, files)
    assert CatalogueItem.objects.get().micron_rating_um == 5.0
    assert "Name the unit by a code, or its site" in told(result, "units")
    assert not Unit.objects.exists()
