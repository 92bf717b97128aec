"""Forecasts computed by several processes and written by one are those that one process makes."""

import logging
from typing import Any, NoReturn

import pytest

from accounts.models import Company
from fleet.models import FleetLesson, Forecast
from fleet.services.forecasts import forecasts
from fleet.services.forecasts import workers as forecast_workers
from fleet.services.forecasts.forecasts import forecast_company
from tests.live.conftest import NOW
from tests.live.test_worker import stored_forecasts


@pytest.fixture
def alone(town: Company, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What one process stores, block by block; the rows are taken away again."""
    monkeypatch.setattr(forecasts, "BLOCK_UNITS", 1)
    monkeypatch.setattr(forecast_workers, "LEAST_UNITS", 10**6)
    forecast_company(company=town, now=NOW)
    rows = stored_forecasts()
    Forecast.objects.all().delete()
    FleetLesson.objects.all().delete()
    monkeypatch.setattr(forecast_workers, "LEAST_UNITS", 2)
    monkeypatch.setattr("os.sched_getaffinity", lambda _: {0, 1}, raising=False)
    return rows


@pytest.mark.served
def test_other_processes_make_the_same_rows(
    town: Company, alone: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any) -> NoReturn:
        raise AssertionError("this process was to write only")

    monkeypatch.setattr(forecast_workers.ForecastRun, "forecast", refuse)
    reports: list[float] = []
    counts = forecast_company(company=town, now=NOW, progress=lambda share, doing: reports.append(share))
    assert counts["created"] == len(alone) > 0
    assert stored_forecasts() == alone
    assert reports == sorted(reports)
    assert reports[-1] == 1.0


def test_what_other_processes_cannot_do_is_done_here(
    town: Company, alone: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(forecast_workers, "begin", _no_start)
    with caplog.at_level(logging.WARNING, logger="fleet"):
        forecast_company(company=town, now=NOW)
    assert stored_forecasts() == alone
    assert "the rest is done in this one" in caplog.text


def test_news_of_a_few_units_is_forecast_here_in_however_many_blocks_they_lie(
    town: Company, alone: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """To start other processes for them would cost more than all the rest of a quiet night."""
    monkeypatch.setattr(forecast_workers, "LEAST_UNITS", len(forecasts.unit_blocks(town, town.day_at(NOW))))
    monkeypatch.setattr(forecast_workers, "begin", _no_start)
    with caplog.at_level(logging.WARNING, logger="fleet"):
        forecast_company(company=town, now=NOW)
    assert stored_forecasts() == alone
    assert caplog.text == ""


def _no_start(database: Any) -> NoReturn:
    raise RuntimeError("no memory, say")
