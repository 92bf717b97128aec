"""Status, finding and forecast agree on both sides of every limit that a gauge shows of carbon and resin.

One reading just before a limit, exactly at it or just past it, and the same a week later: all three say that a reading
shows the cartridge exhausted, or none does.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.engineering.limits import HOUSE, is_exhausted_at
from fleet.models import Forecast, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.forecasts.forecasts import forecast_company
from fleet.services.readings.indicators import recompute
from tests import factories
from tests.fleet.test_every_limit import FLOWING

HAIR: Final = 1e-6


@dataclass(frozen=True)
class Gauge:
    """A limit, where the gauge stands at it, the position it decides on and the finding that then opens.

    `tells_client` says whether the water is bad once it is past: behind a lead stands a lag.
    """

    limit: str
    quantity: str
    at: float
    stage: str
    role: str
    cause: str
    tells_client: bool = True
    beside: dict[str, Any] = field(default_factory=dict)


FED: Final = {"feed_total_chlorine_mg_per_l": 2.0, "feed_free_chlorine_mg_per_l": 2.0}

GAUGES: Final = [
    Gauge("product_tds_mg_per_l", "product_tds_mg_per_l", HOUSE.product_tds_mg_per_l, "resin", "single",
          "di_both_exhausted"),
    Gauge("chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l", HOUSE.chlorine_mg_per_l, "carbon", "lag",
          "carbon_exhausted", beside=FED),
    Gauge("chlorine_mg_per_l", "carbon_outlet_free_chlorine_mg_per_l", HOUSE.chlorine_mg_per_l, "carbon", "lag",
          "carbon_exhausted", beside=FED),
    Gauge("chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l", HOUSE.chlorine_mg_per_l, "carbon", "single",
          "carbon_exhausted", beside=FED),
    Gauge("lead_carbon_fraction", "interstage_chlorine_mg_per_l", 2.0 * HOUSE.lead_carbon_fraction, "carbon", "lead",
          "lead_carbon_exhausted", False, {**FED, "carbon_outlet_total_chlorine_mg_per_l": 0.0}),
]  # fmt: skip


def make_unit(company: Company, gauge: Gauge, now: datetime, value: float) -> Unit:
    """A unit read every week, well until the last two weeks."""
    unit: Unit = factories.UnitFactory(
        company=company,
        use="reef",
        product_tds_target_mg_per_l=HOUSE.product_tds_mg_per_l,
        commissioned_on=(now - timedelta(days=100)).date(),
    )
    carbons = ["single"] if gauge.role == "single" else ["lead", "lag"]
    train = [
        ("sediment", "single"),
        *(("carbon", role) for role in carbons),
        ("membrane", "single"),
        ("resin", "single"),
    ]
    for order, (stage, role) in enumerate(train, start=1):
        position = factories.PositionFactory(unit=unit, order=order, stage=stage, role=role)
        item = factories.CatalogueItemFactory(company=company, kind=stage, maximum_service_time_days=None)
        factories.PlacementFactory(position=position, item=item, placed_at=now - timedelta(days=100))
    for week in range(10):
        shown = {**gauge.beside, gauge.quantity: value if week >= 8 else 0.0}
        taken_at = now - timedelta(days=1 + 7 * (9 - week))
        factories.ReadingFactory(unit=unit, taken_at=taken_at, **(FLOWING | shown))
    return unit


def cases() -> Iterator[Any]:
    for gauge in GAUGES:
        name = f"{gauge.quantity} of {gauge.role}"
        yield pytest.param(gauge, gauge.at - HAIR, False, id=f"{name} just before")
        yield pytest.param(gauge, gauge.at, is_exhausted_at(gauge.limit), id=f"{name} at the limit")
        yield pytest.param(gauge, gauge.at + HAIR, True, id=f"{name} just past")


@pytest.mark.parametrize(("gauge", "value", "is_exhausted"), list(cases()))
def test_status_finding_and_forecast_say_the_same(
    gauge: Gauge, value: float, is_exhausted: bool, company: Company, as_owner: APIClient
) -> None:
    now = timezone.now()
    unit = make_unit(company, gauge, now, value)
    recompute(company=company, now=now)
    forecast_company(company=company, now=now)
    refresh_findings(company=company, now=now)
    address = f"/api/v1/units/{unit.pk}/"
    status = as_owner.get(f"{address}status/").json()
    causes = {one["cause"] for one in as_owner.get(f"{address}findings/").json()["findings"]}
    forecast = Forecast.objects.get(
        position__unit=unit, position__stage=gauge.stage, position__role=gauge.role, is_latest=True
    )
    seen = forecast.evidence.get("exhausted_because", {}).get("code") == "reading"
    assert (gauge.cause in causes, seen) == (is_exhausted, is_exhausted)
    assert status["water"] == ("not_good" if is_exhausted and gauge.tells_client else "good")
    if is_exhausted:
        assert forecast.state == "exhausted"
        assert forecast.p50 == now.date()
    elif gauge.limit == "chlorine_mg_per_l":  # the others rise so fast that they may be past by now, unseen
        assert forecast.state == "installed"
        assert forecast.p50 is not None
        assert forecast.p50 > now.date()
