"""Sheets of two strangers, as they keep them: money signs, percent, units in cells, short years, titles, slips."""

from datetime import UTC, datetime

import pytest

from accounts.models import Client, Membership
from fleet.models import CatalogueItem, Placement, Reading, Site, Supplier, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import BroughtIn, FieldChange, Outcome
from scheduling.company_files.take_out import take_out
from scheduling.company_files.written import day_order
from scheduling.models import StockLevel
from tests import factories

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
CATALOGUE = "code;name;kind;price;rated flow [l/h];rejection;rated recovery [%]\nM75;Membran;membrane;{};11,8;{};15\n"


def owner(system: str = "metric") -> Membership:
    company = factories.CompanyFactory(time_zone="Europe/Berlin", unit_system=system)
    made: Membership = factories.MembershipFactory(company=company, role="owner")
    return made


def brought(by: Membership, **sheets: str) -> BroughtIn:
    files = {f"{name}.csv": text.encode() for name, text in sheets.items()}
    return bring_in(by=by, files=files, now=NOW, is_trial=False)


def told(result: BroughtIn) -> str:
    return " ".join(
        remark
        for page in result.pages
        for remark in (*page.remarks, *(each for row in page.rows for each in row.remarks))
    )


@pytest.mark.django_db
@pytest.mark.parametrize(("price", "rejection"), [("1.038,50 €", "97 %"), ("EUR 1038,5", "97"), ("1038,50", "0,97")])
def test_money_and_percent_are_read_as_they_are_written(price: str, rejection: str) -> None:
    result = brought(owner(), catalogue=CATALOGUE.format(price, rejection))
    item = CatalogueItem.objects.get()
    assert (str(item.price), item.rejection_fraction, item.rated_recovery_fraction) == ("1038.50", 0.97, 0.15)
    assert ("is taken as 97 %" in told(result)) == (rejection == "97"), "a guess is told"


@pytest.mark.django_db
def test_a_company_of_the_united_states_has_its_own_gallons_and_thousands() -> None:
    by = owner("us")
    unit = factories.UnitFactory(company=by.company, code="U1")
    factories.CatalogueItemFactory(company=by.company, code="SED")
    brought(
        by,
        readings='unit,date,line pressure,permeate flow [gpm],totaliser [gal]\nU1,3/4/2026,45 psi,0.05,"1,200"\n',
        stock='item,quantity\nSED,"1,200"\n',
        units='unit,weekly use [gal]\nU1,"1,000"\n',
    )
    reading = Reading.objects.get()
    assert reading.line_pressure_kpa == pytest.approx(310.264, abs=0.01)
    assert reading.permeate_flow_l_per_day == pytest.approx(0.05 * 3.785411784 * 1440)
    assert reading.totaliser_l == pytest.approx(1200 * 3.785411784)
    assert StockLevel.objects.get().quantity == 1200
    unit.refresh_from_db()
    assert unit.weekly_demand_l == pytest.approx(3785.411784)


@pytest.mark.django_db
def test_a_gallon_elsewhere_may_be_two_and_is_asked_about() -> None:
    by = owner()
    factories.UnitFactory(company=by.company, code="U1")
    result = brought(by, readings="unit,date,line pressure [psi],permeate flow [gpm]\nU1,2026-03-04,45,0.05\n")
    assert "Gallons per minute may be US or imperial" in told(result)


@pytest.mark.django_db
def test_units_in_cells_german_degrees_and_pieces_are_read() -> None:
    by = owner()
    factories.SiteFactory(company=by.company, code="S1")
    factories.UnitFactory(company=by.company, code="U1", site=Site.objects.get())
    factories.CatalogueItemFactory(company=by.company, code="SED")
    brought(
        by,
        readings="unit;date;line pressure [bar];feed tds [ppm]\nU1;2.3.2026;45 psi;420 ppm\n",
        feed_water="site;date;hardness [°dH]\nS1;2.3.2026;14,5\n",
        stock="item;quantity\nSED;3 Stk\n",
    )
    reading = Reading.objects.get()
    assert (reading.line_pressure_kpa, reading.feed_tds_mg_per_l) == (pytest.approx(310.264, abs=0.01), 420)
    assert Site.objects.get().feed_water_samples.get().hardness_mg_per_l_as_caco3 == pytest.approx(
        14.5 * 17.8, rel=0.01
    )
    assert StockLevel.objects.get().quantity == 3


@pytest.mark.django_db
def test_short_years_german_weekdays_and_a_title_line() -> None:
    by = owner()
    suppliers = "Unsere Lieferanten;;\n\nname;lead time;closed\nFilterhandel;5;Sa, So\n"
    sheet = (
        "customer;address;use;type;commissioned;weekly use [L];booster;train\n"
        "Bar;Kai 1;coffee;RO;5.6.24;300;j;sed/carb/membrane\n"
    )
    result = brought(by, suppliers=suppliers, units=sheet)
    assert "Line 1 ('Unsere Lieferanten') stands above the headers and is not read." in told(result)
    assert Supplier.objects.get().closed_weekdays == [5, 6]
    unit = Unit.objects.get()
    assert (f"{unit.commissioned_on}", unit.has_booster_pump) == ("2024-06-05", True)
    assert list(unit.positions.order_by("order").values_list("stage", flat=True)) == ["sediment", "carbon", "membrane"]
    assert "product tds target: not given, taken as" in told(result)


@pytest.mark.parametrize(
    ("days", "is_us", "expected"),
    [
        (["3/4/2026", "13/4/2026"], True, False),
        (["3/4/2026", "13/4/2026", "14/4/2026"], True, True),
        (["3/4/2026", "13/4/2026", "4/14/2026"], True, False),
        (["3/4/2026", "13/4/2026", "4/14/2026"], False, True),
        (["3/4/2026", "4/13/2026"], False, True),
    ],
)
def test_one_date_turns_no_page_and_what_was_decided_is_told(days: list[str], is_us: bool, expected: bool) -> None:
    is_day_first, remark = day_order(days, is_us=is_us)
    assert is_day_first == expected
    assert "could be read either way" in remark


def test_dates_without_doubt_need_no_word() -> None:
    assert day_order(["13/4/2026", "5/5/2026"], is_us=True) == (False, "")
    assert day_order(["3/4/2026", "4/13/2026"], is_us=True) == (False, "")
    assert day_order(["3/4/2026"], is_us=False) == (True, "")


@pytest.mark.django_db
def test_a_changed_row_says_what_it_changes() -> None:
    by = owner()
    brought(by, clients="name,phone\nBar,040 555\n")
    result = brought(by, clients="name,Tel\nBar,040 777\n")
    (row,) = result.pages[0].rows
    assert (row.outcome, row.changes) == (Outcome.CHANGED, [FieldChange("Tel", "040 555", "040 777")])
    assert brought(by, clients="name,Tel\nBar,040 777\n").pages[0].rows[0].changes == []


@pytest.mark.django_db
def test_one_name_twice_on_a_page_is_kept_once_and_the_other_told() -> None:
    by = owner()
    result = brought(by, clients="name,phone\nBar,040 555\nBAR,040 777\nBar,040 555\n")
    assert [row.outcome for row in result.pages[0].rows] == [Outcome.MADE, Outcome.REFUSED, Outcome.LEFT]
    assert "stands on line 2 already, with other values" in result.pages[0].rows[1].remarks[0]
    assert Client.objects.get().phone == "040 555"


@pytest.mark.django_db
def test_a_corrected_reading_that_was_taken_out_comes_in_once() -> None:
    by = owner()
    unit = factories.UnitFactory(company=by.company, code="U1")
    wrong = factories.ReadingFactory(unit=unit, reference="", feed_tds_mg_per_l=300)
    factories.ReadingFactory(unit=unit, reference="", feed_tds_mg_per_l=310, corrects=wrong, taken_at=wrong.taken_at)
    text = dict(take_out(company=by.company, by=by))["readings.csv"]
    assert brought(by, readings=text).pages[0].count(Outcome.LEFT) == 2
    edited = brought(by, readings=text.replace(",310,", ",320,"))
    assert edited.pages[0].count(Outcome.REFUSED) == 1
    assert "is stored with other values" in told(edited)
    assert Reading.objects.count() == 2


@pytest.mark.django_db
def test_a_day_without_an_hour_goes_out_as_a_day() -> None:
    by = owner()
    unit = factories.UnitFactory(company=by.company, code="U1")
    position = factories.PositionFactory(unit=unit, stage="sediment")
    item = factories.CatalogueItemFactory(company=by.company, code="SED")
    rows = "unit,stage,item,placed\nU1,sediment,SED,2026-03-02\nU1,sediment,SED,2026-05-02 14:30\n"
    brought(by, placements=rows)
    taken = dict(take_out(company=by.company, by=by))["placements.csv"]
    assert "SED,2026-03-02,2026-05-02T12:30:00Z" in taken
    before = list(Placement.objects.filter(position=position, item=item).values_list("placed_at", "removed_at"))
    assert brought(by, placements=taken).pages[0].count(Outcome.LEFT) == 2
    assert list(Placement.objects.filter(position=position).values_list("placed_at", "removed_at")) == before


@pytest.mark.django_db
def test_a_refused_row_does_not_stand_in_the_way_of_the_right_one() -> None:
    by = owner()
    head = "customer;address;code;use;type;installed;weekly use [L];product tds (max) [ppm];train\n"
    rows = "Bar;Kai 1;B-1;coffee;RO;5.6.2024;300;60;membrane, sediment\nBar;Kai 1;B-1;coffee;RO;5.6.2024;300;60;ro\n"
    result = brought(by, units=head + rows)
    (page,) = [page for page in result.pages if page.sheet == "units"]
    assert [row.outcome for row in page.rows] == [Outcome.REFUSED, Outcome.MADE]
    unit = Unit.objects.get()
    assert (f"{unit.commissioned_on}", unit.product_tds_target_mg_per_l) == ("2024-06-05", 60)


@pytest.mark.django_db
def test_a_site_far_from_all_others_is_told_of_and_sizes_have_inches() -> None:
    by = owner()
    sites = "client;code;lat;lon\nBar;S1;53,55;10,02\nBar;S2;5,355;10,02\nBar;S3;53,56;10,03\n"
    catalogue = 'code;name;kind;price;size\nSED;sediment;sediment;4;10"\n'
    result = brought(by, clients="name\nBar\n", sites=sites, catalogue=catalogue)
    assert "Site S2 (5.355, 10.02) lies 5359 km from the nearest other site" in told(result)
    assert told(result).count("nearest other site") == 1
    assert CatalogueItem.objects.get().cartridge_size == "10_inch"


@pytest.mark.django_db
def test_how_a_supplier_is_ordered_from_goes_in_and_comes_out_again() -> None:
    by = owner()
    suppliers = (
        "name;e-mail;our number;delivery address;lead time;lead time sd days;order days\n"
        "Filterhandel;bestellung@filter.example;K-7;Tor 2, Kai 1;5;1,5;Di, Do\n"
    )
    catalogue = (
        "code;name;kind;price;price breaks;supplier\nSED;Vorfilter;sediment;4,20;10: 3,90; 50: 3,50;Filterhandel\n"
    )
    catalogue = catalogue.replace("10: 3,90; 50: 3,50", '"10: 3,90; 50: 3,50"')
    brought(by, suppliers=suppliers, catalogue=catalogue)
    supplier, item = Supplier.objects.get(), CatalogueItem.objects.get()
    assert (supplier.email, supplier.customer_number) == ("bestellung@filter.example", "K-7")
    assert (supplier.ship_to, supplier.lead_time_sd_days, supplier.order_weekdays) == ("Tor 2, Kai 1", 1.5, [1, 3])
    assert item.price_breaks == [{"from_packs": 10, "price": "3.90"}, {"from_packs": 50, "price": "3.50"}]
    files = dict(take_out(company=by.company, by=by))
    assert "10: 3.90; 50: 3.50" in files["catalogue.csv"]
    again = brought(by, suppliers=files["suppliers.csv"], catalogue=files["catalogue.csv"])
    assert [row for page in again.pages for row in page.rows if row.outcome != Outcome.LEFT] == []
    told_of = told(brought(by, catalogue="code;price breaks\nSED;ten for 3\n"))
    assert "'ten for 3' is no price break; write packs and the price of a piece, as '10: 3.90'" in told_of
