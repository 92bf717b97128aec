"""A unit that somebody reads, forecasts and looks after, with a visit that waits for its client's answer."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from accounts.models import Client, Company, Membership
from fleet.models import Unit
from scheduling.models import Visit
from scheduling.services.visits.visits import offer_visit
from tests import factories

TRAIN = (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag"))


@dataclass(frozen=True)
class Watched:
    """The unit, and the visit that is offered."""

    unit: Unit
    visit: Visit


def watched_unit(company: Company, client: Client, office: Membership, now: datetime) -> Watched:
    """Make it, as of a moment."""
    site = factories.SiteFactory(company=company, client=client, name="Reef House", address="Quay 3, Lurrabeck")
    unit = factories.UnitFactory(company=company, site=site, code="R1-1", name="reef aquarium", has_pressure_gauge=True)
    for order, (stage, role) in enumerate(TRAIN, start=1):
        position = factories.PositionFactory(unit=unit, order=order, stage=stage, role=role)
        placement = factories.PlacementFactory(
            position=position, placed_at=now - timedelta(days=200), first_installed_at=now - timedelta(days=200)
        )
        factories.ForecastFactory(
            position=position,
            placement=placement,
            as_of=now.date(),
            computed_at=now,
            is_latest=True,
            remaining_share=0.15 * order,
            p10=now.date() + timedelta(days=10 * order),
            p50=now.date() + timedelta(days=20 * order),
            p90=now.date() + timedelta(days=40 * order),
            client_sentence=f"Your {stage} should be replaced; this is an estimate.",
        )
    for days in (90, 60, 30, 2):
        factories.ReadingFactory(
            unit=unit,
            taken_at=now - timedelta(days=days),
            received_at=now - timedelta(days=days),
            person="Clara First",
            feed_tds_mg_per_l=240.0 + days,
            permeate_tds_mg_per_l=9.5,
            product_tds_mg_per_l=0.5,
            as_sent={"feed_tds": {"value": str(480 + 2 * days), "unit": "uS/cm"}},
        )
    visit = factories.VisitFactory(
        company=company,
        site=site,
        earliest_day=now.date(),
        best_day=now.date() + timedelta(days=4),
        latest_day=now.date() + timedelta(days=30),
        costs_first_day=now.date(),
    )
    factories.InstallerFactory(company=company, name="Ada")
    need = factories.NeedFactory(company=company, site=site, unit=unit, kind="inspect")
    factories.VisitTaskFactory(visit=visit, need=need)
    ahead = [now + timedelta(days=days) for days in range(4, 11)]
    weekdays = [day for day in ahead if day.weekday() < 5][:2]
    opens = [day.replace(hour=9, minute=0, second=0, microsecond=0) for day in weekdays]
    windows = [(moment, moment + timedelta(hours=1)) for moment in opens]
    offer_visit(visit=visit, by=office, windows=windows, now=now, outside_access_hours=True)
    return Watched(unit, visit)
