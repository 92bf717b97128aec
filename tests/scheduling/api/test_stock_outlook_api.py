"""Half a year of stock over the API."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from scheduling.models import PartsLine
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.visits.visits import propose_visits
from tests.scheduling.town import NOW, RO_DI_TRAIN, TODAY, Town

PATH = "/api/v1/stock-outlook/"
LIFE = {"fresh_life_p10_days": 60.0, "fresh_life_p50_days": 70.0, "fresh_life_p90_days": 80.0}


def _resin(town: Town, in_days: int, **values: Any) -> Any:
    unit = town.unit(train=RO_DI_TRAIN)
    lead = town.position(unit, "resin", "lead")
    town.forecast(lead, in_days, **values)
    return lead


def _row(api: APIClient, code: str = "resin-1") -> dict[str, Any]:
    rows = {row["item_code"]: row for row in api.get(PATH).json()["results"]}
    found: dict[str, Any] = rows[code]
    return found


def test_a_cartridge_far_ahead_counts_though_nothing_is_to_be_done_yet(as_office: APIClient, town: Town) -> None:
    lead = _resin(town, 120)
    refresh_needs(company=town.company, now=NOW)
    town.stock(town.item("resin"), 2)
    row = _row(as_office)
    assert (row["on_hand"], row["on_order"], row["runs_out_on"]) == (2, 0, None)
    assert [week["day"] for week in row["weeks"]] == [str(TODAY + timedelta(days=7 * k)) for k in range(1, 27)]
    first, last = row["weeks"][0], row["weeks"][-1]
    assert (first["wanted_p90"], first["chance_missing"]) == (0, 0.0)
    assert (last["wanted_p50"], last["expected"]) == (1, 1.0)
    one = as_office.get(f"{PATH}{row['id']}/").json()
    assert {key: one[key] for key in row} == row
    (at,) = one["wanted_at"]
    assert (at["position"], at["unit_code"], at["position_name"]) == (lead.pk, lead.unit.code, "lead resin")
    assert at["chance"] == pytest.approx(1.0, abs=0.01)
    assert at["exhausted_p50"] == str(TODAY + timedelta(days=120))


def test_the_pieces_after_the_next_count_too_and_it_says_when_it_runs_out(as_office: APIClient, town: Town) -> None:
    """Exhausted around day 30, and about every 70 days then: near days 30, 100 and 170 of 182."""
    _resin(town, 30, **LIFE)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    town.stock(town.item("resin"), 1)
    row = _row(as_office)
    assert row["weeks"][-1]["wanted_p50"] == 3
    # the second is wanted around day 100, which is within the fifteenth week
    assert row["runs_out_on"] in {str(TODAY + timedelta(days=7 * week)) for week in (14, 15, 16)}
    assert row["sentence"].startswith("2 to 3 are wanted until")
    assert "More likely than not one is missing by" in row["sentence"]


def _wanted(api: APIClient, week: int) -> float:
    return float(_row(api)["weeks"][week - 1]["expected"])


@pytest.mark.parametrize("in_days", [30, 120])
def test_a_pair_in_series_wants_one_for_each_spent_lead(as_office: APIClient, town: Town, in_days: int) -> None:
    """A rotation moves the lag up: its own date wants no piece beside it, whether or not the task is there already."""
    lead = _resin(town, in_days, **LIFE)
    lag = town.position(lead.unit, "resin", "lag")
    town.forecast(lag, in_days + 20, **LIFE)
    refresh_needs(company=town.company, now=NOW)
    town.stock(town.item("resin"), 5)
    week = 9 if in_days == 30 else 22
    assert _wanted(as_office, week) == pytest.approx(1.0, abs=0.1)
    # about seventy days after the first
    assert _wanted(as_office, 26) == pytest.approx(2.8 if in_days == 30 else 1.3, abs=0.2)


@pytest.mark.parametrize("driver", ["capacity", "maximum_service_time"])
def test_a_lag_that_is_replaced_where_it_stands_wants_its_own(as_office: APIClient, town: Town, driver: str) -> None:
    lead = _resin(town, 120)
    lag = town.position(lead.unit, "resin", "lag")
    town.forecast(lag, 100 if driver == "maximum_service_time" else 0, driver=driver)
    refresh_needs(company=town.company, now=NOW)
    town.stock(town.item("resin"), 5)
    assert _wanted(as_office, 22) == pytest.approx(2.0, abs=0.1)


def test_what_the_parts_list_counts_until_a_day_the_outlook_counts_too(as_office: APIClient, town: Town) -> None:
    """Two answers on one store: of pairs that are rotated within the weeks of the list, both want one piece each."""
    town.installer("Ada")
    for in_days in (10, 20, 25):
        lead = _resin(town, in_days, **LIFE)
        town.forecast(town.position(lead.unit, "resin", "lag"), in_days + 10, **LIFE)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    town.stock(town.item("resin"), 1)
    plan_rounds(company=town.company, by=None, now=NOW, iterations=100)
    line = PartsLine.objects.filter(parts_list__scope="period", item__code="resin-1").latest("parts_list__last_day")
    assert line.quantity + line.spare == 3
    last = (line.parts_list.last_day - TODAY).days
    week = _row(as_office)["weeks"][last // 7 - 1]
    assert abs((date.fromisoformat(week["day"]) - line.parts_list.last_day).days) < 7
    assert week["wanted_p90"] == 3


def test_a_unit_out_of_use_wants_nothing(as_office: APIClient, town: Town) -> None:
    lead = _resin(town, 20)
    refresh_needs(company=town.company, now=NOW)
    lead.unit.retired_on = TODAY
    lead.unit.save()
    refresh_needs(company=town.company, now=NOW)
    town.stock(town.item("resin"), 1)
    row = _row(as_office)
    assert row["weeks"][-1]["wanted_p90"] == 0
    assert row["sentence"].startswith("None is likely to be wanted")


def test_queries_do_not_grow_with_the_fleet(as_office: APIClient, town: Town) -> None:
    counts = []
    for _ in range(2):
        for _ in range(3):
            _resin(town, 20, **LIFE)
        refresh_needs(company=town.company, now=NOW)
        propose_visits(company=town.company, now=NOW)
        with CaptureQueriesContext(connection) as queries:
            assert as_office.get(PATH).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_positions_behind_an_item_come_page_by_page_too(as_office: APIClient, town: Town) -> None:
    for in_days in (90, 30, 60):
        _resin(town, in_days, **LIFE)
    refresh_needs(company=town.company, now=NOW)
    address = f"{PATH}{_row(as_office)['id']}/"
    every = as_office.get(address).json()["wanted_at"]
    assert len(every) == 3
    first = as_office.get(f"{address}wanted-at/", {"page_size": 2}).json()
    assert (first["count"], first["results"], first["previous"]) == (3, every[:2], None)
    assert as_office.get(first["next"]).json()["results"] == every[2:]
    assert as_office.get(f"{address}wanted-at/", {"page": 2}).status_code == 404
    without = as_office.get(address, {"with_positions": "false"}).json()
    assert without == {**as_office.get(address).json(), "wanted_at": None}
    refused = as_office.get(address, {"with_positions": "perhaps"})
    assert refused.status_code == 400
    assert "with_positions" in refused.json()["errors"][0]["parameter"]
