"""An invented town for the scheduling tests: sites with units, installers, a catalogue, and forecasts made to measure.

Everything happens on and after Monday 2 March 2026, five o'clock in the morning in Berlin.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np

from accounts.models import Client, Company, Membership
from fleet.forecasting import GRID_LEVELS, LEVELS
from fleet.models import (
    AccessWindow,
    CatalogueItem,
    Finding,
    Forecast,
    PartsRule,
    Placement,
    Position,
    Reading,
    Site,
    Unit,
)
from fleet.services.forecasts.rows import TENTHS
from scheduling.models import Installer, StockLevel
from scheduling.services.stock.ledger import opening_of
from tests import factories

TODAY = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)
LONG_AGO = datetime(2025, 9, 1, 8, 0, tzinfo=UTC)

#: Days from the median to p05, p10, p25, p50, p75, p90, p95 of a made-up forecast.
SPREAD = (-14, -10, -5, 0, 5, 10, 14)


def _grid(dates: Mapping[str, date], today: date) -> list[int]:
    """A whole distribution through some dates, each at the end of its day."""
    last = [TENTHS * (day - today).days + TENTHS - 1 for day in dates.values()]
    return [int(tenth) for tenth in np.interp(GRID_LEVELS, LEVELS, last)]


TRAIN = (("sediment", "single"), ("carbon", "single"), ("membrane", "single"))
RO_DI_TRAIN = (*TRAIN, ("resin", "lead"), ("resin", "lag"))


@dataclass
class Town:
    """A company and what it looks after; rows are made on demand."""

    company: Company
    items: dict[str, CatalogueItem] = field(default_factory=dict)
    count: int = 0

    def client(self, **values: Any) -> Client:
        return factories.ClientFactory(company=self.company, **values)

    def item(self, stage: str) -> CatalogueItem:
        if stage not in self.items:
            more: dict[str, Any] = {
                "membrane": {
                    "membrane_material": "polyamide",
                    "rejection_fraction": 0.97,
                    "rated_flow_l_per_day": 284.0,
                    "rated_pressure_kpa": 345.0,
                    "rated_temperature_degc": 25.0,
                    "rated_tds_mg_per_l": 250.0,
                    "rated_recovery_fraction": 0.15,
                },
                "resin": {"resin_volume_l": 0.6, "resin_capacity_eq_per_l": 0.45},
            }.get(stage, {})
            self.items[stage] = CatalogueItem.objects.create(
                company=self.company,
                code=f"{stage}-1",
                name=f"{stage} cartridge",
                kind=stage,
                price="24.00",
                pack_size=4,
                lead_time_days=7,
                **more,
            )
        return self.items[stage]

    def small_part(
        self, code: str, *, work: str = "", stage: str = "", per: str = "position", quantity: int = 1
    ) -> CatalogueItem:
        item = CatalogueItem.objects.create(
            company=self.company, code=code, name=code, kind="small_part", price="0.50", pack_size=10, lead_time_days=3
        )
        PartsRule.objects.create(company=self.company, item=item, work=work, stage=stage, per=per, quantity=quantity)
        return item

    def site(self, *, north_km: float = 0.0, east_km: float = 0.0, client: Client | None = None, **values: Any) -> Site:
        self.count += 1
        return Site.objects.create(
            company=self.company,
            client=client or self.client(),
            code=f"S{self.count:03}",
            **{
                "name": f"Site {self.count}",
                "time_zone": "Europe/Berlin",
                "latitude": 52.5 + north_km / 111.2,
                "longitude": 13.4 + east_km / 67.7,
                **values,
            },
        )

    def unit(self, site: Site | None = None, *, train: tuple[tuple[str, str], ...] = TRAIN, **values: Any) -> Unit:
        site = site or self.site()
        self.count += 1
        unit = Unit.objects.create(
            company=self.company,
            site=site,
            code=f"U{self.count:03}",
            **{
                "use": "reef",
                "kind": "ro_di" if any(stage == "resin" for stage, _ in train) else "ro",
                "product_tds_target_mg_per_l": 2.0,
                "weekly_demand_l": 150.0,
                "commissioned_on": LONG_AGO.date(),
                **values,
            },
        )
        for order, (stage, role) in enumerate(train, start=1):
            position = Position.objects.create(unit=unit, order=order, stage=stage, role=role)
            self.place(position)
        self.read(unit)
        return unit

    def place(self, position: Position, at: datetime = LONG_AGO) -> Placement:
        return Placement.objects.create(
            position=position, item=self.item(position.stage), placed_at=at, first_installed_at=at
        )

    def read(self, unit: Unit, at: datetime = NOW - timedelta(days=3), **values: Any) -> Reading:
        """A look at the counter, unless `values` say otherwise."""
        values = {"totaliser_l": 100.0} | values
        return Reading.objects.create(unit=unit, taken_at=at, received_at=at, source="installer", **values)

    def position(self, unit: Unit, stage: str, role: str = "single") -> Position:
        return unit.positions.get(stage=stage, role=role)

    def forecast(self, position: Position, in_days: int, *, today: date = TODAY, **values: Any) -> Forecast:
        """Say that the position will be exhausted around a day, by readings of which the newest is two months old."""
        dates = {
            name: today + timedelta(days=max(in_days + off, 0) if in_days > 0 else 0)
            for name, off in zip(("p05", "p10", "p25", "p50", "p75", "p90", "p95"), SPREAD, strict=True)
        }
        Forecast.objects.filter(position=position).update(is_latest=False)
        return Forecast.objects.create(
            position=position,
            placement=position.placements.filter(removed_at=None).first(),
            as_of=today,
            computed_at=NOW,
            **{
                "state": "exhausted" if in_days <= 0 else "installed",
                "remaining_share": max(0.0, min(1.0, in_days / 180)),
                "driver": "capacity",
                "evidence": {"readings_used": 2, "newest_reading_age_days": 60.0},
                "date_grid": _grid(dates, today),
                "installer_sentence": f"{position}: around {today + timedelta(days=in_days)}.",
                **dates,
                **values,
            },
        )

    def finding(self, unit: Unit, cause: str, *, position: Position | None = None, **values: Any) -> Finding:
        return Finding.objects.create(
            unit=unit,
            position=position,
            rule="D01",
            cause=cause,
            confidence=0.9,
            opened_at=NOW - timedelta(days=2),
            last_seen_at=NOW - timedelta(days=1),
            installer_sentence=f"It looks like {cause}.",
            **values,
        )

    def installer(self, name: str, *, north_km: float = 0.0, east_km: float = 0.0, **values: Any) -> Installer:
        member: Membership = values.pop("membership", None) or factories.MembershipFactory(
            company=self.company, role="installer"
        )
        return Installer.objects.create(
            company=self.company,
            membership=member,
            name=name,
            home_latitude=52.5 + north_km / 111.2,
            home_longitude=13.4 + east_km / 67.7,
            **{"time_zone": "Europe/Berlin", **values},
        )

    def window(self, site: Site, weekday: int, opens: time, closes: time) -> AccessWindow:
        return AccessWindow.objects.create(site=site, weekday=weekday, opens=opens, closes=closes)

    def stock(self, item: CatalogueItem, quantity: int, installer: Installer | None = None) -> StockLevel:
        level = StockLevel.objects.create(
            company=self.company, item=item, installer=installer, quantity=quantity, counted_at=NOW
        )
        opening_of(level).save()
        return level
