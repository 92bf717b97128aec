"""Forecasts judged by the company's own past: by a service, a job, a command."""

from datetime import UTC, date, datetime, timedelta
from io import StringIO

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from rest_framework.test import APIClient

from accounts.errors import InvalidInput
from accounts.models import Company
from fleet.models import ForecastScore, Unit
from fleet.services.forecasts.quality import judge_company
from fleet.services.forecasts.tables import day_number, load_fleet
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
BEGIN = datetime(2024, 1, 5, 9, tzinfo=UTC)
METHODS = {"learned", "fixed_interval", "label_over_load", "straight_line"}


@pytest.fixture
def past(company: Company) -> Company:
    """Five units whose resin lasted about 130 days each time, in two years."""
    rng = np.random.default_rng(5)
    item = factories.CatalogueItemFactory(company=company, kind="resin")
    for _ in range(5):
        unit = factories.UnitFactory(company=company, commissioned_on=BEGIN.date(), product_tds_target_mg_per_l=1.0)
        position = factories.PositionFactory(unit=unit, stage="resin")
        at = BEGIN
        while at < NOW:
            life = float(130.0 * np.exp(0.1 * rng.normal()))
            end = at + timedelta(days=life)
            removal_facts = {"removed_at": end, "removal": "exhausted"} if end < NOW else {}
            factories.PlacementFactory(position=position, item=item, placed_at=at, **removal_facts)
            for share in (0.4, 0.8):
                read_at = at + timedelta(days=share * life)
                if read_at < NOW:
                    factories.ReadingFactory(
                        unit=unit, taken_at=read_at, permeate_tds_mg_per_l=10.0, product_tds_mg_per_l=0.0
                    )
            at = end
    return company


def test_every_method_is_scored_on_the_same_forecasts(past: Company) -> None:
    rows = judge_company(company=past, now=NOW)
    score_of = {row.method: row for row in ForecastScore.objects.filter(grouping="all")}
    assert set(score_of) == METHODS
    assert len({(row.forecasts, row.observed) for row in score_of.values()}) == 1
    # Five units at about seventeen months.
    assert score_of["learned"].forecasts > 60
    assert 0.7 * score_of["learned"].forecasts < score_of["learned"].observed <= score_of["learned"].forecasts
    # Lives repeat within a tenth. The day that counts lies midway between the last good reading, at 0.8 of 130 days,
    # and the removal: 0.9 of them; the fixed interval says 182.6 days.
    assert score_of["learned"].pinball_share < 0.6 * score_of["fixed_interval"].pinball_share
    assert score_of["fixed_interval"].median_error_days == pytest.approx(182.6 - 0.9 * 130, abs=8)
    assert {row.group for row in ForecastScore.objects.filter(grouping="kind")} == {"resin"}
    assert len(rows) == ForecastScore.objects.count()
    for score in ForecastScore.objects.all():
        assert score.coverage_80 is None or 0 <= score.coverage_80 <= 1
        assert (score.known_until, score.is_latest) == (date(2026, 3, 10), True)
        assert date(2024, 6, 1) < score.first_cut <= score.last_cut < date(2025, 12, 15)


def test_a_second_verdict_of_the_day_takes_the_place_of_the_first(past: Company) -> None:
    judge_company(company=past, now=NOW)
    before = set(ForecastScore.objects.values_list("group", "method", "pinball_share"))
    judge_company(company=past, now=NOW + timedelta(hours=1))
    assert set(ForecastScore.objects.values_list("group", "method", "pinball_share")) == before
    assert ForecastScore.objects.filter(is_latest=True).count() == len(before)
    judge_company(company=past, now=NOW, first=date(2025, 3, 1), last=date(2025, 6, 30))
    latest = ForecastScore.objects.filter(is_latest=True)
    assert all(date(2025, 3, 1) <= row.first_cut <= row.last_cut <= date(2025, 6, 30) for row in latest)
    assert latest.get(grouping="all", method="learned").forecasts <= 5 * 4


def test_without_a_past_there_is_no_verdict(company: Company) -> None:
    factories.PlacementFactory(
        position=factories.PositionFactory(unit__company=company), placed_at=NOW - timedelta(days=90)
    )
    with pytest.raises(InvalidInput, match="no past to judge by"):
        judge_company(company=company, now=NOW)
    with pytest.raises(InvalidInput, match="swap them"):
        judge_company(company=company, now=NOW, first=date(2026, 2, 1), last=date(2026, 1, 1))
    assert not ForecastScore.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_the_office_has_it_judged_by_a_job(past: Company, as_office: APIClient, as_rival: APIClient) -> None:
    wrong = as_office.post("/api/v1/forecast-quality/", {"first_cut": "2026-02-01", "last_cut": "2026-01-01"})
    assert wrong.status_code == 400
    assert wrong.json()["errors"][0]["pointer"] == "/first_cut"
    started = as_office.post("/api/v1/forecast-quality/", {"first_cut": "2025-01-01", "last_cut": "2025-04-30"})
    assert started.status_code == 202, started.content
    job = as_office.get(started.headers["Location"]).json()
    assert (job["state"], job["kind"]) == ("done", "forecast_quality"), job
    scores = as_office.get("/api/v1/forecast-quality/?grouping=all&method=learned").json()["results"]
    assert [(row["forecasts"], row["observed"]) for row in scores] == [
        (job["result"]["forecasts"], job["result"]["observed"])
    ]
    assert as_rival.get("/api/v1/forecast-quality/").json()["results"] == []


def test_the_command_prints_the_table_and_says_what_it_cannot_judge(past: Company, rival_company: Company) -> None:
    out, err = StringIO(), StringIO()
    call_command("judge_forecasts", company=[past.pk], last=date(2025, 3, 1), stdout=out, stderr=err)
    for word in ("learned", "fixed interval", "label over load", "straight line", "pinball", "resin"):
        assert word in out.getvalue()
    with pytest.raises(CommandError, match="1 of 1"):
        call_command("judge_forecasts", company=[rival_company.pk], stdout=out, stderr=err)
    assert "no past to judge by" in err.getvalue()
    with pytest.raises(CommandError, match="no company 987654"):
        call_command("judge_forecasts", company=[987654], stdout=out)
    with pytest.raises(CommandError, match="no demo company yet"):
        call_command("judge_forecasts", demo=True, stdout=out)


def test_the_named_driver_is_scored_against_what_ended_the_life(past: Company) -> None:
    judge_company(company=past, now=NOW)
    scores = {row.method: row.driver_named for row in ForecastScore.objects.filter(grouping="all")}
    assert scores["learned"] > 0.9
    assert {scores[name] for name in METHODS - {"learned"}} == {None}


def test_a_replay_knows_a_correction_only_from_when_it_came(past: Company) -> None:
    unit = Unit.objects.order_by("pk").first()
    taken_at, received_at = datetime(2024, 9, 1, 9, tzinfo=UTC), datetime(2025, 6, 1, 9, tzinfo=UTC)
    wrong = factories.ReadingFactory(unit=unit, taken_at=taken_at, received_at=taken_at, product_tds_mg_per_l=7.0)
    right = factories.ReadingFactory(
        unit=unit, taken_at=taken_at, received_at=received_at, product_tds_mg_per_l=0.0, corrects=wrong
    )
    loaded = load_fleet(company=past, unit_ids=[unit.pk], as_of_day=day_number(NOW), with_corrected=True)
    assert {wrong.pk, right.pk} <= set(loaded.reading_ids)

    def seen(day: datetime) -> list[float]:
        readings = loaded.fleet.known_at(day_number(day)).readings
        return readings.product_tds_mg_per_l[readings.day == day_number(taken_at)].tolist()

    assert seen(datetime(2024, 8, 1, tzinfo=UTC)) == []
    assert seen(datetime(2025, 5, 1, tzinfo=UTC)) == [7.0]
    assert seen(datetime(2025, 7, 1, tzinfo=UTC)) == [0.0]
    # A forecast of today knows the correction alone.
    today = load_fleet(company=past, unit_ids=[unit.pk], as_of_day=day_number(NOW))
    assert wrong.pk not in today.reading_ids
    assert right.pk in today.reading_ids
