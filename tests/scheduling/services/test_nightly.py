"""The nightly run, whole: by service, by task, by command."""

from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db.models import Model
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from accounts.errors import Conflict
from accounts.jobs.models import Job
from accounts.models import Company
from fleet import models as fleet
from scheduling import models as scheduling
from scheduling import tasks
from scheduling.management.commands import nightly
from scheduling.services import nightly as nightly_run
from scheduling.services.stock.parts import PartsWriter
from tests import factories
from tests.scheduling.town import NOW, RO_DI_TRAIN, Town

WRITTEN: tuple[type[Model], ...] = (
    fleet.Forecast,
    fleet.Finding,
    scheduling.Need,
    scheduling.Visit,
    scheduling.VisitTask,
    scheduling.Plan,
    scheduling.Round,
    scheduling.Stop,
    scheduling.UnservedVisit,
    scheduling.PartsList,
    scheduling.PartsLine,
)


@pytest.fixture
def busy(town: Town) -> Town:
    """Four units with readings of half a year, so that forecasts have something to go by."""
    town.installer("Ada")
    town.installer("Ben", north_km=6)
    for k in range(4):
        unit = town.unit(town.site(east_km=3.0 * (k + 1)), train=RO_DI_TRAIN, weekly_demand_l=600.0 + 300.0 * k)
        for weeks in range(0, 26, 4):
            town.read(
                unit,
                NOW - timedelta(weeks=weeks, hours=12),
                feed_tds_mg_per_l=300.0,
                permeate_tds_mg_per_l=9.0 + 0.2 * weeks,
                product_tds_mg_per_l=0.0,
                inlet_pressure_kpa=380.0,
                temperature_degc=15.0,
                permeate_flow_l_per_day=250.0,
                state="flowing",
                minutes_since_start=10.0,
            )
    return town


def _rows() -> dict[str, list[Any]]:
    return {model.__name__: list(model._default_manager.order_by("pk").values()) for model in WRITTEN}


def test_a_plan_whose_parts_lists_cannot_be_written_is_not_stored(town: Town, monkeypatch: pytest.MonkeyPatch) -> None:
    """Vans are loaded by the lists: a plan alone would send people out with those of the one before."""

    def fail(_: PartsWriter) -> None:
        raise RuntimeError("no lists")

    town.installer("Ada")
    town.forecast(town.position(town.unit(), "carbon"), 0)
    monkeypatch.setattr(PartsWriter, "delete_stale", fail)
    with pytest.raises(RuntimeError, match="no lists"):
        nightly_run.run_nightly(company=town.company, now=NOW, iterations=20)
    assert scheduling.Visit.objects.count() == 1
    assert not scheduling.Plan.objects.exists()
    monkeypatch.undo()
    nightly_run.run_nightly(company=town.company, now=NOW, iterations=20)
    plan = scheduling.Plan.objects.get()
    assert {row.scope for row in plan.parts_lists.all()} == {"visit", "round", "period"}


def test_the_nightly_run_goes_from_readings_to_parts_and_a_second_run_changes_nothing(busy: Town) -> None:
    reports: list[tuple[float, str]] = []
    results = nightly_run.run_nightly(
        company=busy.company, now=NOW, iterations=100, progress=lambda share, doing: reports.append((share, doing))
    )
    rows = _rows()
    for name in ("Forecast", "Need", "Visit", "VisitTask", "Plan", "Stop", "PartsList", "PartsLine"):
        assert rows[name], name
    assert results["plan"] == scheduling.Plan.objects.get().pk
    shares = [share for share, _ in reports]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    again = nightly_run.run_nightly(company=busy.company, now=NOW + timedelta(minutes=90), iterations=100)
    assert again["plan"] == results["plan"]
    assert _rows() == rows


def test_a_nightly_run_that_was_cut_short_is_simply_run_again(busy: Town) -> None:
    class CutError(Exception):
        """The worker is gone."""

    def cut(share: float, doing: str) -> None:
        if share >= 0.9:
            raise CutError

    with pytest.raises(CutError):
        nightly_run.run_nightly(company=busy.company, now=NOW, iterations=100, progress=cut)
    assert not scheduling.PartsList.objects.exists()
    nightly_run.run_nightly(company=busy.company, now=NOW, iterations=100)
    assert scheduling.Plan.objects.exclude(state="replaced").count() == 1
    assert scheduling.PartsList.objects.filter(scope="round").exists()
    rows = _rows()
    nightly_run.run_nightly(company=busy.company, now=NOW, iterations=100)
    assert _rows() == rows


def test_a_company_with_nothing_has_a_quiet_night(company: Company) -> None:
    results = nightly_run.run_nightly(company=company, now=NOW)
    assert (results["needs"]["opened"], results["visits"]["opened"]) == (0, 0)
    assert scheduling.Plan.objects.get().rounds.count() == 0


def test_nightly_hands_out_a_run_for_every_company(
    busy: Town, rival_company: Company, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        assert tasks.nightly() == 2
    jobs = Job.objects.order_by("company")
    assert [(job.company, job.kind, job.state) for job in jobs] == [
        (busy.company, "nightly", "done"),
        (rival_company, "nightly", "done"),
    ]
    assert jobs[0].result["plan"] == scheduling.Plan.objects.get(company=busy.company).pk


@pytest.mark.parametrize("night", [tasks.nightly, lambda: call_command("nightly", stdout=StringIO())])
def test_the_night_forgets_sessions_that_have_ended(night: Any, company: Company) -> None:
    Session.objects.create(session_key="ended", session_data="", expire_date=timezone.now() - timedelta(days=1))
    going_on = Session.objects.create(
        session_key="going on", session_data="", expire_date=timezone.now() + timedelta(days=1)
    )
    night()
    assert list(Session.objects.all()) == [going_on]


def test_a_task_that_is_delivered_twice_starts_one_job(company: Company) -> None:
    first = tasks.start_company_nightly(company_id=company.pk)
    assert first is not None
    assert tasks.start_company_nightly(company_id=company.pk, sent_by="a newer version") is None
    assert Job.objects.count() == 1
    with pytest.raises(Conflict):
        nightly_run.start_nightly_job(company=company, by=None, now=NOW)


@pytest.mark.django_db
def test_a_company_that_is_gone_ends_quietly() -> None:
    assert tasks.start_company_nightly(company_id=987654) is None


def test_the_command_prints_a_line_for_every_company(company: Company, rival_company: Company) -> None:
    output = StringIO()
    call_command("nightly", iterations=20, stdout=output)
    lines = output.getvalue().splitlines()
    assert [line.split(":")[0] for line in lines] == ["North Water", "South Water"]
    assert "needs 0 new" in lines[0]


def test_the_command_goes_on_after_a_failure_and_ends_with_an_error(
    company: Company, rival_company: Company, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def run(*, company: Company, **more: Any) -> dict[str, Any]:
        if company.name == "North Water":
            raise ValueError("the well is dry")
        return nightly_run.run_nightly(company=company, **more)

    monkeypatch.setattr(nightly, "run_nightly", run)
    output, complained = StringIO(), StringIO()
    with pytest.raises(CommandError, match="1 of 2 companies failed"):
        call_command("nightly", stdout=output, stderr=complained)
    assert complained.getvalue().strip() == "North Water: failed: ValueError: the well is dry"
    assert output.getvalue().startswith("South Water: ")
    assert "the well is dry" in caplog.text


def test_the_command_knows_only_companies_that_are_there(company: Company) -> None:
    with pytest.raises(CommandError, match="There is no company 4711"):
        call_command("nightly", company=[company.name, "4711"])
    assert not scheduling.Plan.objects.exists()
    call_command("nightly", company=[str(company.pk)], stdout=StringIO())
    assert factories.CompanyFactory().plans.count() == 0
    assert scheduling.Plan.objects.count() == 1
