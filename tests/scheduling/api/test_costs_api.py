"""Costs over the API, worked by hand: parts, minutes and travel of two units at a site, and what was thrown away."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from accounts.models import Client
from fleet.models import PastOwnership, Unit
from scheduling.services.money.water import water_of_units
from tests import factories
from tests.scheduling.town import NOW, Town

COSTS = "/api/v1/costs/"
FEBRUARY = {"from": "2026-02-01", "before": "2026-03-01"}
AT = datetime(2026, 2, 10, 10, 0, tzinfo=UTC)


@pytest.fixture
def pair(town: Town) -> tuple[Unit, Unit]:
    """Two units at a site: the first uses 70 L a week and has a counter of the permeate."""
    site = town.site(east_km=3)
    one, two = (
        town.unit(site, weekly_demand_l=litres, totaliser=counter, commissioned_on=date(2025, 9, 1))
        for litres, counter in ((70.0, "permeate"), (35.0, "none"))
    )
    return one, two


def work_at(*units: Unit, **facts: Any) -> Any:
    """A report: a carbon replaced (12 minutes usually) at the first unit, the others inspected (10)."""
    first = units[0]
    carbon = first.positions.get(stage="carbon")
    item = carbon.placements.get(removed_at=None).item
    work = [{"action": "replace", "unit": first.pk, "position": carbon.pk, "item": item.pk}]
    work += [{"action": "inspect", "unit": unit.pk} for unit in units[1:]]
    ring = factories.CatalogueItemFactory(company=first.company, kind="small_part", price=Decimal("0.45"))
    parts = [{"item": item.pk, "quantity": 1}, {"item": ring.pk, "quantity": 3}]
    given = {"minutes": 40, "work": work, "parts": parts, "done_at": AT, **facts}
    return factories.ServiceRecordFactory(site=first.site, company=first.company, **given)


def costs(api: APIClient, **asked: Any) -> dict[str, Any]:
    answer = api.get(COSTS, {**FEBRUARY, **asked})
    assert answer.status_code == 200, answer.content
    body: dict[str, Any] = answer.json()
    return body


def by_code(body: dict[str, Any]) -> dict[str, Any]:
    return {row["unit_code"]: row for row in body["rows"]}


def test_a_report_is_shared_among_its_units(pair: tuple[Unit, Unit], as_office: APIClient) -> None:
    """By hand: labour 40 min x 0.60 = 24.00, in the proportion 12 to 10: 13.0909 and 10.9090, so 13.09 and 10.91.

    The carbon, 24.00, is the first unit's; three rings, 1.35, are shared likewise: 0.736 and 0.614, so 0.74 and 0.61.
    Water by the stated use: 70 L a week over 28 days is 280 L, 35 L a week 140 L. (37.83 / 280 x 1000 = 135.107.)
    """
    work_at(*pair)
    body = costs(as_office)
    one, two = (by_code(body)[unit.code] for unit in pair)
    assert (one["parts"], one["labour"], one["travel"], one["total"]) == ("24.74", "13.09", "0.00", "37.83")
    assert (two["parts"], two["labour"], two["total"]) == ("0.61", "10.91", "11.52")
    assert (one["litres"], one["per_1000_l"], one["parts_per_1000_l"]) == (280.0, "135.11", "88.36")
    assert one["water_sources"] == ["by the weekly use that the client states"]
    assert (two["litres"], two["per_1000_l"]) == (140.0, "82.29")
    total = body["total"]
    assert (total["parts"], total["labour"], total["total"]) == ("25.35", "24.00", "49.35")
    assert (total["reports"], total["minutes"]) == (1, 40.0)
    assert any("no published round" in sentence for sentence in total["remarks"])
    (client,) = costs(as_office, by="client")["rows"]
    assert (client["client"], client["total"], client["litres"]) == (pair[0].site.client_id, "49.35", 420.0)


def test_a_visit_bears_its_share_of_the_round(town: Town, pair: tuple[Unit, Unit], as_office: APIClient) -> None:
    """By hand: 45 km x 0.30 + 60 min x 0.60 = 49.50; of sites 3 and 9 km away, 12.375 and 37.125."""
    ada = town.installer("Ada")
    far = town.unit(town.site(east_km=9))
    plan = factories.PlanFactory(company=town.company, state="published", published_at=AT, first_day=AT.date())
    day = factories.RoundFactory(plan=plan, installer=ada, day=AT.date(), driving_km=45.0, driving_minutes=60.0)
    for unit in (pair[0], far):
        visit = factories.VisitFactory(site=unit.site, company=town.company, state="done", closed_at=AT)
        factories.StopFactory(round=day, visit=visit)
        work_at(unit, visit=visit)
    body = costs(as_office)
    travel = [Decimal(by_code(body)[unit.code]["travel"]) for unit in (pair[0], far)]
    assert sum(travel) == Decimal("49.50")
    assert travel[0] == pytest.approx(Decimal("12.375"), abs=Decimal("0.02"))
    assert by_code(body)[far.code]["km"] == pytest.approx(33.75, abs=0.1)
    assert body["total"]["km"] == 45.0


def test_the_counter_tells_the_water_where_it_was_read(pair: tuple[Unit, Unit], as_office: APIClient) -> None:
    """By hand: 1,000 L on 1 February, 1,240 L on 25 February: 240 L in 24 days, so 280 L in 28."""
    for day, litres in ((1, 1000.0), (25, 1240.0)):
        taken_at = datetime(2026, 2, day, 10, tzinfo=UTC)
        factories.ReadingFactory(unit=pair[0], taken_at=taken_at, totaliser_l=litres)
    row = by_code(costs(as_office))[pair[0].code]
    assert row["litres"] == pytest.approx(280.0, abs=0.5)
    assert row["water_sources"] == ["by its totaliser, read over 24 days"]


def test_pieces_cost_what_the_newest_order_before_paid(pair: tuple[Unit, Unit], as_office: APIClient) -> None:
    record = work_at(pair[0])
    item = pair[0].positions.get(stage="carbon").placements.get(removed_at=None).item
    for placed_on, price in ((date(2026, 1, 5), "21.00"), (date(2026, 2, 20), "30.00")):
        order = factories.PurchaseOrderFactory(company=item.company, state="placed", placed_on=placed_on)
        factories.PurchaseOrderLineFactory(order=order, item=item, price=Decimal(price))
    assert record.parts
    assert by_code(costs(as_office))[pair[0].code]["parts"] == "22.35"


@pytest.mark.parametrize(
    ("removal", "share", "waste", "unknown"),
    [
        ("early", 0.25, "6.00", 0),
        ("routine", 0.25, "6.00", 0),
        ("exhausted", 0.25, "0.00", 0),
        ("early", None, "0.00", 1),
    ],
)
def test_what_was_left_in_a_cartridge_is_waste(
    removal: str, share: float | None, waste: str, unknown: int, pair: tuple[Unit, Unit], as_office: APIClient
) -> None:
    """A quarter of a cartridge of 24.00 is 6.00; of one that was seen exhausted nothing was left."""
    placement = pair[0].positions.get(stage="carbon").placements.get()
    if share is not None:
        factories.ForecastFactory(
            position=placement.position, placement=placement, as_of=date(2026, 2, 1), remaining_share=share
        )
        factories.ForecastFactory(
            position=placement.position,
            placement=placement,
            as_of=date(2026, 2, 20),
            remaining_share=0.9,
            is_latest=False,
        )
    type(placement).objects.filter(pk=placement.pk).update(removed_at=AT, removal=removal)
    row = by_code(costs(as_office))[pair[0].code]
    assert (row["changes"], row["waste"], row["waste_unknown"]) == (1, waste, unknown)


def test_each_client_bears_their_own_time(
    pair: tuple[Unit, Unit], as_office: APIClient, town: Town, second_client: Client
) -> None:
    unit, passed_at = pair[0], datetime(2026, 2, 15, tzinfo=UTC) - timedelta(hours=1)
    work_at(unit)
    work_at(unit, done_at=AT + timedelta(days=10))
    former = unit.site.client_id
    PastOwnership.objects.create(company=town.company, client_id=former, unit=unit, until=passed_at)
    PastOwnership.objects.create(company=town.company, client_id=former, site=unit.site, until=passed_at)
    type(unit.site).objects.filter(pk=unit.site_id).update(client=second_client, client_since=passed_at)
    rows = {row["client"]: row for row in costs(as_office, by="client", unit=unit.code)["rows"]}
    assert [rows[pk]["total"] for pk in (former, second_client.pk)] == ["49.35", "49.35"]
    assert [rows[pk]["litres"] for pk in (former, second_client.pk)] == [140.0, 140.0]


def test_sizing_stands_beside_what_was_spent_or_says_why_not(pair: tuple[Unit, Unit], as_office: APIClient) -> None:
    body = costs(as_office, unit=pair[0].code, sized="true")
    sized = body["rows"][0]["sized"]
    assert sized["per_year"] is None
    assert sized["reason"] == "Not read in the past year: line pressure, temperature and feed TDS."
    assert costs(as_office)["rows"][0]["sized"] is None
    refused = as_office.get(COSTS, {**FEBRUARY, "by": "client", "sized": "true"})
    assert (refused.status_code, refused.json()["errors"][0]["parameter"]) == (400, "sized")


def test_more_reports_ask_the_database_no_more_often(pair: tuple[Unit, Unit], as_office: APIClient, town: Town) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as captured:
            costs(as_office)
        return len(captured)

    work_at(*pair)
    few = count()
    for day in range(5):
        work_at(town.unit(), done_at=AT + timedelta(days=day))
    assert count() == few


@pytest.mark.parametrize(
    ("asked", "parameter"),
    [
        ({"from": "2026-03-01", "before": "2026-02-01"}, "from"),
        ({"from": "yesterday"}, "from"),
        ({"before": "0001-01-01"}, "before"),
        ({"by": "van"}, "by"),
        ({"unit": "S99-9"}, "unit"),
        ({"until": "2026-03-01"}, "until"),
    ],
)
def test_a_question_that_cannot_be_answered_names_its_parameter(
    asked: dict[str, str], parameter: str, as_office: APIClient
) -> None:
    answer = as_office.get(COSTS, asked)
    assert answer.status_code == 400, answer.content
    assert [fault["parameter"] for fault in answer.json()["errors"]] == [parameter]


def test_nobody_but_owner_and_office_reads_costs(
    as_owner: APIClient, as_installer: APIClient, as_client: APIClient
) -> None:
    assert as_owner.get(COSTS).status_code == 200
    assert {api.get(COSTS).status_code for api in (as_installer, as_client)} == {403}
    assert as_owner.get(COSTS).json()["before"] == (NOW.date() + timedelta(days=1)).isoformat()


def test_one_unit_is_told_as_among_all_and_only_its_site_is_looked_at(
    town: Town, pair: tuple[Unit, Unit], as_office: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also of a report that was written where the unit stood before, together with one that still stands there."""
    other = town.unit(town.site(east_km=9), weekly_demand_l=50.0)
    work_at(*pair)
    work_at(pair[0], other, done_at=AT + timedelta(days=1))
    work_at(other, done_at=AT + timedelta(days=2))
    every = by_code(costs(as_office))
    looked_at: list[set[str]] = []

    def water_of(*, units: list[Unit], **period: Any) -> Any:
        looked_at.append({unit.code for unit in units})
        return water_of_units(units=units, **period)

    monkeypatch.setattr("scheduling.services.money.costs.water_of_units", water_of)
    for unit in (*pair, other):
        assert costs(as_office, unit=unit.code)["rows"] == [every[unit.code]]
    assert looked_at == [{unit.code for unit in pair}] * 2 + [{other.code}]


def test_rows_come_in_pages_and_the_total_is_of_all(town: Town, pair: tuple[Unit, Unit], as_office: APIClient) -> None:
    work_at(*pair)
    whole = costs(as_office)
    assert (whole["count"], whole["next"], whole["previous"]) == (2, None, None)
    first = costs(as_office, page_size="1")
    second = as_office.get(first["next"]).json()
    assert first["rows"] + second["rows"] == whole["rows"]
    assert first["total"] == second["total"] == whole["total"]
    assert (second["count"], second["next"]) == (2, None)
    assert second["previous"] is not None
    assert as_office.get(COSTS, {"page": "3", "page_size": "1"}).status_code == 404
    for asked in ({"page": "0"}, {"page_size": "501"}, {"page": "x"}):
        assert as_office.get(COSTS, asked).status_code == 400, asked
