"""The load of a van over the API: what to fetch from which shelf, what to bring back, booked by one call."""

from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import AuditEntry, Membership
from scheduling.models import Installer, PartsLine, Plan, Round, StockLevel, StockMovement, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.stock.ledger import differing_totals
from scheduling.services.stock.stock import count_stock
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town


@pytest.fixture
def round_ahead(town: Town, ada: Installer) -> Round:
    """Two carbons are due on the way of the one round there is, which is published."""
    plan = run_night(town, sites=2)
    Plan.objects.filter(pk=plan.pk).update(state="published", published_at=NOW)
    day: Round = plan.rounds.get()
    assert day.stops.count() == 2
    return day


def _load(api: APIClient, day: Round) -> dict[str, Any]:
    answer = api.get(f"/api/v1/rounds/{day.pk}/van-load/")
    assert answer.status_code == 200, answer.content
    load: dict[str, Any] = answer.json()
    return load


def _confirm(api: APIClient, day: Round, version: str) -> Any:
    return api.post(f"/api/v1/rounds/{day.pk}/confirm-load/", {"version": version}, format="json")


def _pieces(town: Town) -> dict[tuple[str, str], int]:
    assert differing_totals(town.company) == {}
    rows = StockLevel.objects.values_list("item__code", "installer__name", "quantity")
    return {(code, name or ""): pieces for code, name, pieces in rows if pieces}


def test_one_call_moves_what_the_round_takes_and_brings_back_what_others_count_on(
    as_office: APIClient, town: Town, office: Membership, round_ahead: Round
) -> None:
    carbon, resin = town.item("carbon"), town.item("resin")
    town.stock(carbon, 5)
    expired = [{"lot": "R1", "expires_on": (TODAY - timedelta(days=1)).isoformat(), "quantity": 2}]
    count_stock(by=office, item=resin, quantity=3, lots=expired, installer=round_ahead.installer, now=NOW)
    for item, shelf in ((carbon, "B2"), (resin, "A1")):
        body = {"item": item.pk, "quantity": 5, "shelf": shelf}
        assert as_office.post("/api/v1/stock-levels/", body).json()["shelf"] == shelf
    load = _load(as_office, round_ahead)
    (carbons,) = [line for line in load["to_van"] if line["code"] == "carbon-1"]
    assert (carbons["shelf"], carbons["pieces"], carbons["spare"]) == ("B2", 2, 0)
    assert carbons["sentence"] == "2 pieces for visits"
    (back,) = load["to_store"]
    assert (back["code"], back["shelf"], back["pieces"], back["expired"]) == ("resin-1", "A1", 2, 2)
    assert back["sentence"] == "2 expired pieces"
    assert [line["shelf"] for line in load["to_van"]] == sorted(line["shelf"] for line in load["to_van"])

    booked = _confirm(as_office, round_ahead, load["version"])
    assert booked.status_code == 200, booked.content
    assert {(row["item_code"], row["from_place"], row["pieces"]) for row in booked.json()} == {
        ("carbon-1", "store", 2),
        ("resin-1", "van", 2),
    }
    assert _pieces(town) == {
        ("carbon-1", ""): 3,
        ("carbon-1", "Ada"): 2,
        ("resin-1", ""): 7,
        ("resin-1", "Ada"): 1,
    }
    assert StockLevel.objects.get(item=resin, installer=None).lots == expired
    entry = AuditEntry.objects.get(action="load van")
    assert entry.details == {"to_van": {"carbon-1": 2}, "to_store": {"resin-1": 2}}
    # the day sheet agrees, and there is nothing left to move
    line = PartsLine.objects.get(parts_list__round=round_ahead, item=carbon)
    assert (line.quantity, line.in_stock, line.from_store, line.short) == (2, 2, 0, 0)
    again = _load(as_office, round_ahead)
    assert (again["to_van"], again["to_store"]) == ([], [])
    refused = _confirm(as_office, round_ahead, load["version"])
    assert (refused.status_code, refused.json()["code"]) == (409, "load_has_changed")
    assert StockMovement.objects.filter(kind="transfer").count() == 2


def test_a_piece_that_the_visit_of_another_van_counts_on_comes_back(
    as_office: APIClient, town: Town, round_ahead: Round
) -> None:
    ben, carbon = town.installer("Ben"), town.item("carbon")
    town.stock(carbon, 3, round_ahead.installer)
    town.stock(carbon, 0)
    town.forecast(town.position(town.unit(), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    run_night(town)
    Plan.objects.exclude(pk=round_ahead.plan_id).delete()
    Plan.objects.filter(pk=round_ahead.plan_id).update(state="published")
    Visit.objects.exclude(stops__round=round_ahead).update(
        state="confirmed", installer=ben, appointment_at=NOW + timedelta(days=4)
    )
    assert Visit.objects.filter(installer=ben).count() == 1
    load = _load(as_office, round_ahead)
    (line,) = load["to_store"]
    assert (line["code"], line["pieces"], line["sentence"]) == (
        "carbon-1",
        1,
        "1 piece that a visit of another van counts on",
    )
    assert _confirm(as_office, round_ahead, load["version"]).status_code == 200
    assert _pieces(town) == {("carbon-1", "Ada"): 2, ("carbon-1", ""): 1}


def test_a_spare_goes_along_where_a_second_trip_would_cost_more(
    as_office: APIClient, town: Town, round_ahead: Round
) -> None:
    """The sediment cartridges on the way are due in weeks, but may be exhausted when somebody looks."""
    sediment = town.item("sediment")
    sites = [stop.visit.site for stop in round_ahead.stops.all()]
    units = [unit for site in sites for unit in site.units.all()]
    for unit in units:
        town.forecast(town.position(unit, "sediment"), 12)
    refresh_needs(company=town.company, now=NOW)
    assert not any(line["code"] == "sediment-1" for line in _load(as_office, round_ahead)["to_van"])
    town.stock(sediment, 9)
    (line,) = [line for line in _load(as_office, round_ahead)["to_van"] if line["code"] == "sediment-1"]
    assert (line["spare"], line["pieces"]) == (1, 1)
    assert line["sentence"] == "1 to spare, as cartridges on the way may turn out to be exhausted"
    # what is aboard already is carried anyway
    town.stock(sediment, 1, round_ahead.installer)
    assert not any(line["code"] == "sediment-1" for line in _load(as_office, round_ahead)["to_van"])


def test_installers_load_their_own_van_for_a_published_round_ahead(
    as_installer: APIClient, as_office: APIClient, town: Town, round_ahead: Round
) -> None:
    version = _load(as_installer, round_ahead)["version"]
    ada = round_ahead.installer_id
    Round.objects.update(installer=town.installer("Ben"))
    assert _confirm(as_installer, round_ahead, version).status_code == 403
    Round.objects.update(installer=ada)
    assert _confirm(as_installer, round_ahead, version).status_code == 200
    assert _confirm(as_office, round_ahead, "").status_code == 400
    Plan.objects.update(state="draft")
    refused = _confirm(as_office, round_ahead, version)
    assert (refused.status_code, refused.json()["code"]) == (409, "round_is_not_ahead")
    Plan.objects.update(state="published")
    Round.objects.update(day=TODAY - timedelta(days=1))
    assert _confirm(as_office, round_ahead, version).json()["code"] == "round_is_not_ahead"
