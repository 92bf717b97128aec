"""Out and in again gives the same company."""

from datetime import timedelta

import pytest

from accounts.models import Membership
from fleet.models import Placement, Position, Stage, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import Outcome
from scheduling.company_files.take_out import take_out
from scheduling.models import StockLevel
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
    files = out(owner)
    assert {"clients.csv", "sites.csv", "units.csv", "positions.csv", "placements.csv", "readings.csv"} <= files.keys()

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
