"""Out and in again gives the same company."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from accounts.day_alone import day_alone, known_day
from accounts.models import Client, Membership
from fleet.models import CatalogueItem, FeedWaterSample, Placement, Position, Reading, Stage, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import Outcome
from scheduling.company_files.take_out import take_out
from scheduling.models import SalesPrice, ServiceContract, StockLevel, VatRate, Warranty
from scheduling.services.money.entries import enter
from scheduling.services.stock.stock import count_stock
from tests import factories

NOW = factories.NOW
LOTS = [
    {"lot": "R 17; of 2", "expires_on": "2027-03-31", "quantity": 4},
    {"lot": "", "expires_on": "2027-09-30", "quantity": 2},
    {"lot": "K9", "expires_on": None, "quantity": 1},
]


def out(by: Membership) -> dict[str, str]:
    return dict(take_out(company=by.company, by=by))


def _ask_for_money(owner: Membership, client: Client, unit: Unit, item: CatalogueItem) -> None:
    day = date(2026, 1, 1)
    facts: list[tuple[Any, dict[str, Any]]] = [
        (VatRate, {"vat": "standard", "percent": Decimal("19.00"), "valid_from": day}),
        (VatRate, {"vat": "standard", "percent": Decimal("20.50"), "valid_from": date(2026, 7, 1)}),
        (SalesPrice, {"item": item, "price": Decimal("1038.50"), "valid_from": day}),
        (SalesPrice, {"kind": "call_out", "price": Decimal("35.00"), "vat": "none", "valid_from": day}),
        (ServiceContract, {"client": client, "name": "care", "price": Decimal("25"), "per": "year", "starts_on": day}),
        (
            ServiceContract,
            {"client": client, "unit": unit, "name": "care", "price": Decimal("5"), "starts_on": day, "ends_on": day},
        ),
        (Warranty, {"unit": unit, "starts_on": day, "ends_on": date(2027, 1, 1), "covers_labour": True}),
        (Warranty, {"item": item, "starts_on": day, "ends_on": date(2027, 1, 1)}),
    ]
    for model, values in facts:
        enter(model=model, by=owner, now=NOW, **values)


@pytest.mark.django_db
def test_out_and_in_again_is_the_same() -> None:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    owner = factories.MembershipFactory(company=company, role="owner")
    client = factories.ClientFactory(company=company, name='Bar "Nord"; Söhne', notes="two\nlines")
    site = factories.SiteFactory(company=company, client=client, code="S1", time_zone="Europe/Lisbon")
    site.access_windows.create(weekday=0, opens="08:00", closes="17:00")
    site.access_windows.create(weekday=1, opens="08:00", closes="17:00")
    site.access_exceptions.create(first_day="2026-12-24", last_day="2026-12-31", reason="closed, ring first")
    unit = factories.UnitFactory(company=company, site=site, code="007", kind=Unit.Kind.RO_DI, weekly_demand_l=1 / 3)
    Position.objects.filter(unit=unit).delete()
    lead, lag = (
        Position.objects.create(unit=unit, order=order, stage=Stage.RESIN, role=role)
        for order, role in ((1, "lead"), (2, "lag"))
    )
    item = factories.CatalogueItemFactory(company=company, kind="resin", code="DI")
    times = [NOW - timedelta(days=days) for days in (400, 200)]
    old_lag = Placement.objects.create(
        position=lag, item=item, placed_at=times[0], first_installed_at=times[0], removed_at=times[1], removal="rotated"
    )
    Placement.objects.create(
        position=lead, item=item, placed_at=times[1], first_installed_at=times[0], continues=old_lag
    )
    meter = factories.InstrumentFactory(company=company, unit=unit, tds_factor=0.7, measures=["feed_tds_mg_per_l"])
    wrong = factories.ReadingFactory(unit=unit, reference="", feed_tds_mg_per_l=1 / 7, taken_at=times[1])
    factories.ReadingFactory(
        unit=unit, instrument=meter, corrects=wrong, feed_tds_mg_per_l=287.1, taken_at=times[1], note="put right"
    )
    count_stock(by=owner, item=item, quantity=9, lots=LOTS, shelf="B2", now=NOW)
    _ask_for_money(owner, client, unit, item)
    files = out(owner)
    assert {"clients.csv", "sites.csv", "units.csv", "positions.csv", "placements.csv", "readings.csv"} <= files.keys()
    assert {"vat_rates.csv", "sales_prices.csv", "service_contracts.csv", "warranties.csv"} <= files.keys()

    second = factories.MembershipFactory(company=factories.CompanyFactory(time_zone="Europe/Berlin"), role="owner")
    result = bring_in(by=second, files={name: text.encode() for name, text in files.items()}, now=NOW, is_trial=False)
    refused = [row.remarks for page in result.pages for row in page.rows if row.outcome == Outcome.REFUSED]
    assert refused == []
    again = out(second)
    assert again == files
    level = StockLevel.objects.of_company(second.company).get()
    assert (level.lots, level.shelf) == (LOTS, "B2")
    same = bring_in(by=owner, files={name: text.encode() for name, text in files.items()}, now=NOW, is_trial=False)
    assert [page.sheet for page in same.pages if page.count(Outcome.MADE)] == []
    assert [row for page in same.pages for row in page.rows if row.outcome == Outcome.CHANGED] == []
    moved = Placement.objects.of_company(second.company).get(position__role="lead")
    assert (moved.continues is not None, moved.first_installed_at) == (True, times[0])


@pytest.mark.django_db
def test_days_without_an_hour_go_out_and_come_in_as_days() -> None:
    # 13 hours ahead of UTC in its summer: noon there is the day before in UTC.
    auckland, day = "Pacific/Auckland", date(2026, 1, 12)
    at = day_alone(day, ZoneInfo(auckland))
    company = factories.CompanyFactory(time_zone=auckland)
    owner = factories.MembershipFactory(company=company, role="owner")
    site = factories.SiteFactory(company=company, code="S1", time_zone=auckland)
    unit = factories.UnitFactory(company=company, site=site, code="S1-1")
    position = factories.PositionFactory(unit=unit, stage=Stage.SEDIMENT)
    item = factories.CatalogueItemFactory(company=company, kind="sediment", code="SED")
    left = day_alone(date(2026, 2, 3), ZoneInfo(auckland))
    factories.PlacementFactory(
        position=position, item=item, placed_at=at, first_installed_at=at, removed_at=left, removal="exhausted"
    )
    factories.PlacementFactory(position=position, item=item, placed_at=left, first_installed_at=left)
    factories.ReadingFactory(unit=unit, taken_at=at, reference="a", feed_tds_mg_per_l=200.0)
    # By chance on the second of noon, and no day alone.
    factories.ReadingFactory(unit=unit, taken_at=at + timedelta(days=1), reference="b", feed_tds_mg_per_l=210.0)
    factories.FeedWaterSampleFactory(site=site, taken_at=at, reference="c")
    files = out(owner)
    assert [line.split(",")[1] for line in files["readings.csv"].splitlines()[1:]] == [
        "2026-01-12",
        "2026-01-12T23:00:00Z",
    ]
    assert files["placements.csv"].count("2026-01-12,2026-02-03,exhausted") == 1
    assert files["feed_water.csv"].splitlines()[1].split(",")[1] == "2026-01-12"

    second = factories.MembershipFactory(company=factories.CompanyFactory(time_zone=auckland), role="owner")
    sent = {name: text.encode() for name, text in files.items()}
    result = bring_in(by=second, files=sent, now=NOW, is_trial=False)
    assert [row.remarks for page in result.pages for row in page.rows if row.outcome == Outcome.REFUSED] == []
    assert out(second) == files
    first = Placement.objects.of_company(second.company).order_by("placed_at").first()
    assert first is not None
    assert (first.placed_at, known_day(first.placed_at), known_day(first.first_installed_at)) == (at, day, day)
    moments = Reading.objects.of_company(second.company).order_by("taken_at")
    assert [known_day(row.taken_at) for row in moments] == [day, None]
    assert known_day(FeedWaterSample.objects.of_company(second.company).get().taken_at) == day
    again = bring_in(by=owner, files=sent, now=NOW, is_trial=False)
    assert {row.outcome for page in again.pages for row in page.rows} == {Outcome.LEFT}


@pytest.mark.django_db
def test_no_text_goes_out_as_a_formula_and_each_comes_in_as_it_was(owner: Membership) -> None:
    """A client may have written it; what begins a formula is common knowledge of spreadsheets, no source."""
    names = ('=HYPERLINK("https://example.com")', "@SUM(1)", "'tHooft", "-3 and more")
    for name in names:
        factories.ClientFactory(company=owner.company, name=name, phone="+49 30 5550100")
    files = out(owner)
    cells = [cell for row in csv.reader(io.StringIO(files["clients.csv"])) for cell in row]
    assert [cell for cell in cells if cell.startswith(("=", "@", "+", "-"))] == []
    Client.objects.all().delete()
    bring_in(by=owner, files={"clients.csv": files["clients.csv"].encode()}, now=NOW, is_trial=False)
    assert sorted(Client.objects.values_list("name", "phone")) == sorted((name, "+49 30 5550100") for name in names)
