"""Half a year of stock over the API."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from scheduling.services.needs.needs import refresh_needs
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
