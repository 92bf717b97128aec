"""What a unit calls for: worked cases on either side of each limit."""

import dataclasses
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from scheduling.planning.company_rules import CompanyRules, ServicePolicy
from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.decide import tasks_of_unit
from scheduling.planning.needs.facts import FindingFacts, ForecastFacts, PositionFacts, Role, UnitFacts
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, NeedKind
from scheduling.planning.needs.tasks import Source, Task
from scheduling.planning.needs.work import FindingWork, work_for
from scheduling.planning.policy import Policy

TODAY = date(2026, 3, 2)
SEEN = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
POLICY = ServicePolicy(Policy(), CompanyRules())
WEIGHED = 7 * Policy().bundling_weeks
NEXT_YEAR = TODAY + timedelta(days=365)

at = dataclasses.replace


def forecast(cartridge: int, day: float, *, spread: float = 0.0, **values: Any) -> ForecastFacts:
    """A cartridge exhausted around a day, evenly within so many days before and after it."""
    days = tuple(day + 2.0 * spread * (level - 0.5) for level in DISTRIBUTION_LEVELS)
    return ForecastFacts(key=100 + cartridge, cartridge=cartridge, quantile_days=days, sentence="By then.", **values)


def position(stage: str, day: float | None, role: Role = Role.SINGLE, *, cartridge: int = 1, **values: Any) -> Any:
    """A position with a cartridge of 30.00 in it; None: its forecast has no date."""
    newest_forecast = forecast(cartridge, day, **values) if day is not None else None
    return PositionFacts(
        key=10 + cartridge,
        stage=stage,
        role=role,
        cartridge=cartridge,
        item=7,
        price=30.0,
        newest_forecast=newest_forecast,
    )


def unit(*positions: PositionFacts, **values: Any) -> UnitFacts:
    unit_facts = {"use": "reef", "commissioned_on": TODAY, "last_read_on": TODAY, **values}
    return UnitFacts(key=1, positions=positions, **unit_facts)


def pair(lead: float | None, lag: float | None, **of_lag: Any) -> UnitFacts:
    return unit(
        position("resin", lead, Role.LEAD, cartridge=1),
        position("resin", lag, Role.LAG, cartridge=2, **of_lag),
    )


def finding(work: FindingWork | None, **values: Any) -> FindingFacts:
    return FindingFacts(**{"key": 5, "cause": "seen", "work": work, "seen_at": SEEN, "sentence": "Seen.", **values})


def tasks(facts: UnitFacts, policy: ServicePolicy = POLICY, today: date = TODAY) -> dict[str, Task]:
    return {f"{t.kind.value} {t.label}": t for t in tasks_of_unit(facts, policy=policy, today=today)}


# -- forecasts


@pytest.mark.parametrize(("early_day", "wanted"), [(WEIGHED, True), (WEIGHED + 0.1, False)])
def test_a_cartridge_is_replaced_when_it_may_be_exhausted_within_the_weeks(early_day: float, wanted: bool) -> None:
    # evenly over 200 days, so that a tenth of the probability lies before the 20th of them
    decided = tasks(unit(position("carbon", early_day + 80.0, spread=100.0)))
    assert list(decided) == (["replace carbon"] if wanted else [])


def test_a_replacement_says_what_it_takes_and_costs() -> None:
    task = tasks(unit(position("sediment", 40.0), use="coffee"))["replace sediment filter"]
    assert (task.key, task.position, task.item, task.price, task.minutes) == ("replace:11:1", 11, 7, 30.0, 12)
    assert (task.late_cost_per_day, task.exhausted_cost_per_day, task.source) == (25.0, 0.0, Source.FORECAST)
    assert (task.reason, task.is_urgent, task.cause) == ("By then.", False, "")


@pytest.mark.parametrize(("exhausted", "urgent"), [(0.79, False), (0.81, True)])
def test_it_is_urgent_from_the_probability_of_the_policy_on(exhausted: float, urgent: bool) -> None:
    # evenly over 100 days of which that share has gone by; 8.00 a day for carbon at a reef tank
    carbon = position("carbon", 50.0 - 100.0 * exhausted, spread=50.0)
    assert tasks(unit(carbon))["replace carbon"].is_urgent is urgent


@pytest.mark.parametrize(("least", "urgent"), [(8.0, True), (8.01, False)])
def test_it_is_urgent_from_the_cost_of_a_late_day_on(least: float, urgent: bool) -> None:
    policy = at(POLICY, planning=Policy(urgent_late_cost_per_day=least))
    assert tasks(unit(position("carbon", -9.0)), policy)["replace carbon"].is_urgent is urgent


def test_a_label_and_a_load_alone_make_nothing_urgent() -> None:
    by_label = tasks(unit(position("carbon", -9.0, is_by_label=True)))["replace carbon"]
    read = tasks(unit(position("carbon", -9.0)))["replace carbon"]
    assert (by_label.is_urgent, read.is_urgent) == (False, True)
    assert by_label.late_cost_per_day == read.late_cost_per_day, "it costs by the day what it costs"
    assert not tasks(pair(-9.0, -1.0, is_by_label=True))["rotate lead resin"].is_urgent


@pytest.mark.parametrize(
    "change",
    [
        lambda p: at(p, cartridge=2),
        lambda p: at(p, newest_forecast=at(p.newest_forecast, quantile_days=())),
        lambda p: at(p, newest_forecast=None),
    ],
    ids=["another cartridge", "no date", "no forecast"],
)
def test_without_a_date_of_what_stands_there_nothing_is_due(change: Callable[[Any], Any]) -> None:
    assert tasks(unit(change(position("carbon", -9.0)))) == {}


@pytest.mark.parametrize(
    ("median", "probability", "first"),
    # evenly over the 200 days around the median: a fifth of the probability has gone by 60 days before it, and visits
    # are chosen by the week
    [(100.0, 0.5, 105), (100.0, 0.2, 42), (-1.0, 0.5, 0), (WEIGHED + 0.0, 0.5, WEIGHED), (WEIGHED + 1.0, 0.5, None)],
)
def test_a_membrane_goes_on_its_condition(median: float, probability: float, first: int | None) -> None:
    policy = at(POLICY, rules=CompanyRules(membrane_probability=probability))
    decided = tasks(unit(position("membrane", median, spread=100.0)), policy)
    assert list(decided) == (["replace membrane"] if first is not None else [])
    if first is not None:
        expected = TODAY + timedelta(days=first) if first else None
        assert decided["replace membrane"].not_before == expected


def test_a_membrane_that_a_finding_names_goes_whatever_its_forecast_says() -> None:
    seen = finding(FindingWork(NeedKind.REPLACE, stage="membrane"))
    task = tasks(unit(position("membrane", 100.0, spread=100.0), findings=(seen,)))["replace membrane"]
    assert (task.not_before, task.source) == (None, Source.FINDING)
    assert task.reason == "Seen. By then."


def test_new_seals_come_before_a_new_membrane() -> None:
    """Exhausted by the salt that passes, which a leak explains; not by its years, nor once new seals did not help."""
    seals = finding(work_for("o_ring_leak", has_booster_pump=False), cause="o_ring_leak")
    leaking = unit(position("membrane", -1.0), findings=(seals,))
    assert [task.split()[0] for task in tasks(leaking)] == ["repair"]
    tried = at(leaking, done={"repair:unit-1:o_ring_leak": SEEN - timedelta(days=20)})
    assert [task.split()[0] for task in tasks(tried)] == ["repair", "replace"]
    old = at(leaking, positions=(position("membrane", -1.0, is_maximum_service_time=True),))
    assert [task.split()[0] for task in tasks(old)] == ["repair", "replace"]


def test_an_empty_position_is_looked_at_once_for_all() -> None:
    empty = (at(position(stage, -9.0), cartridge=None) for stage in ("sediment", "carbon"))
    decided = tasks(unit(*empty))
    assert list(decided) == ["inspect unit"]
    assert "sediment filter" in decided["inspect unit"].reason
    assert "carbon" in decided["inspect unit"].reason


# -- rotate or replace


def test_a_lead_before_a_lag_that_holds_is_rotated() -> None:
    decided = tasks(pair(5.0, 120.0))
    assert list(decided) == ["rotate lead resin"]
    task = decided["rotate lead resin"]
    # a day with both exhausted costs 6.00 at a reef tank, and 3 % of that while the lag still holds
    assert (task.late_cost_per_day, task.exhausted_cost_per_day) == pytest.approx((6.0, 0.18))
    assert (task.item, task.price, task.lag_forecast) == (7, 30.0, pair(5.0, 120.0).positions[1].forecast)


def test_a_lag_of_which_nothing_is_known_is_trusted_with_its_share() -> None:
    task = tasks(pair(5.0, None))["rotate lead resin"]
    assert (task.late_cost_per_day, task.exhausted_cost_per_day) == pytest.approx((0.18, 0.0))


@pytest.mark.parametrize(
    ("is_exhausted", "expected"), [(False, ["rotate lead resin"]), (True, ["replace lag resin", "replace lead resin"])]
)
def test_a_lag_called_exhausted_is_not_moved_up(is_exhausted: bool, expected: list[str]) -> None:
    assert sorted(tasks(pair(0.0, 0.0, is_exhausted=is_exhausted))) == expected


@pytest.mark.parametrize(
    ("lag_day", "is_maximum_service_time", "expected"),
    [
        (39.9, True, ["replace lag resin", "rotate lead resin"]),
        (40.0, True, ["replace lag resin", "rotate lead resin"]),
        (40.1, True, ["rotate lead resin"]),
        (39.9, False, ["rotate lead resin"]),
    ],
)
def test_a_lag_that_reaches_its_age_limit_first_goes_by_itself(
    lag_day: float, is_maximum_service_time: bool, expected: list[str]
) -> None:
    decided = tasks(pair(40.0, lag_day, is_maximum_service_time=is_maximum_service_time))
    assert sorted(decided) == expected
    assert (decided["rotate lead resin"].lag_forecast is None) is ("replace lag resin" in expected)


@pytest.mark.parametrize(("lead_day", "expected"), [(WEIGHED, ["rotate lead resin"]), (WEIGHED + 0.1, [])])
def test_a_lead_is_rotated_when_it_may_be_exhausted_within_the_weeks(lead_day: float, expected: list[str]) -> None:
    assert list(tasks(pair(lead_day, 400.0))) == expected


@pytest.mark.parametrize(("lag_day", "urgent"), [(1.0, False), (-1.0, True)])
def test_a_rotation_is_as_urgent_as_its_lag_is_likely_exhausted(lag_day: float, urgent: bool) -> None:
    # not called exhausted by the forecast, or both would be replaced
    assert tasks(pair(-9.0, lag_day))["rotate lead resin"].is_urgent is urgent


def test_a_lead_without_a_date_or_a_lag_leaves_each_to_its_own() -> None:
    assert list(tasks(pair(None, 20.0))) == ["replace lag resin"]
    assert list(tasks(unit(position("resin", 20.0, Role.LEAD)))) == ["replace lead resin"]
    assert list(tasks(unit(position("resin", 20.0, Role.LAG)))) == ["replace lag resin"]
    never_fitted = at(pair(5.0, None).positions[1], cartridge=None, item=None)
    assert sorted(tasks(unit(pair(5.0, None).positions[0], never_fitted))) == ["inspect unit", "replace lead resin"]


# -- findings


def test_a_finding_calls_for_its_work_and_is_urgent_as_that_says() -> None:
    decided = tasks(unit(findings=(finding(FindingWork(NeedKind.REPAIR, urgent=True, label="leak")),)))
    task = decided["repair leak"]
    assert (task.key, task.is_urgent, task.source, task.cause) == ("repair:unit-1:seen", True, Source.FINDING, "seen")
    assert tasks(unit(findings=(finding(None),))) == {}


def test_a_confirmed_finding_says_so() -> None:
    open_finding = finding(FindingWork(NeedKind.INSPECT), is_confirmed=True)
    assert tasks(unit(findings=(open_finding,)))["inspect unit"].reason == "Seen. Confirmed by a person."


def test_of_two_reasons_the_finding_speaks_first_and_either_may_make_it_urgent() -> None:
    carbon = position("carbon", -9.0)
    open_finding = finding(FindingWork(NeedKind.REPLACE, "carbon"))
    task = tasks(unit(carbon, findings=(open_finding,)))["replace carbon"]
    assert (task.reason, task.source, task.finding) == ("Seen. By then.", Source.FINDING, open_finding)
    assert task.is_urgent, "the forecast alone makes it urgent"
    surest, other = open_finding, at(open_finding, key=6, cause="other", sentence="Seen too.")
    task = tasks(unit(at(carbon, newest_forecast=None), findings=(surest, other)))["replace carbon"]
    assert (task.cause, task.reason) == ("seen", "Seen. Seen too.")


def test_the_same_sentence_is_said_once() -> None:
    open_finding = finding(FindingWork(NeedKind.INSPECT))
    assert tasks(unit(findings=(open_finding, at(open_finding, key=6))))["inspect unit"].reason == "Seen."


@pytest.mark.parametrize(("hours", "wanted"), [(-1, True), (0, False), (1, False)])
@pytest.mark.parametrize(
    ("work", "key", "name"),
    [
        (FindingWork(NeedKind.REPAIR), "repair:unit-1:seen", "repair unit"),
        (FindingWork(NeedKind.REPLACE, "resin"), "replace:11:1", "replace lead resin"),
        (FindingWork(NeedKind.ROTATE, "resin"), "rotate:11:1", "rotate lead resin"),
    ],
)
def test_work_done_since_the_finding_was_seen_is_not_asked_for(
    work: FindingWork, key: str, name: str, hours: int, wanted: bool
) -> None:
    facts = at(pair(None, None), findings=(finding(work),), done={key: SEEN + timedelta(hours=hours)})
    assert (name in tasks(facts)) is wanted


def test_what_got_past_a_stage_replaces_all_of_it_instead_of_rotating() -> None:
    facts = at(pair(5.0, 120.0), findings=(finding(FindingWork(NeedKind.REPLACE, "resin")),))
    assert sorted(tasks(facts)) == ["replace lag resin", "replace lead resin"]


@pytest.mark.parametrize(
    ("is_exhausted", "expected"), [(False, ["rotate lead resin"]), (True, ["replace lag resin", "replace lead resin"])]
)
def test_a_lead_seen_exhausted_is_rotated_unless_its_lag_is_exhausted_too(
    is_exhausted: bool, expected: list[str]
) -> None:
    facts = at(pair(400.0, 0.0, is_exhausted=is_exhausted), findings=(finding(FindingWork(NeedKind.ROTATE, "resin")),))
    assert sorted(tasks(facts)) == expected


def test_a_pump_is_wanted_only_where_none_is() -> None:
    wanted = work_for("line_pressure_low", has_booster_pump=False)
    there = work_for("line_pressure_low", has_booster_pump=True)
    assert wanted is not None
    assert there is not None
    assert (wanted.kind, there.kind) == (NeedKind.FIT_BOOSTER_PUMP, NeedKind.INSPECT)


# -- the calendar


@pytest.mark.parametrize(("ago", "wanted"), [(365 - WEIGHED, True), (364 - WEIGHED, False)])
def test_a_pressurised_tank_is_sanitised_when_it_is_due_within_the_weeks(ago: int, wanted: bool) -> None:
    since = TODAY - timedelta(days=ago)
    decided = tasks(unit(has_pressurised_tank=True, last_sanitised_on=since, commissioned_on=TODAY))
    assert list(decided) == (["sanitise tank and housings"] if wanted else [])
    assert tasks(unit(last_sanitised_on=since)) == {}, "an open tank is not"


def test_sanitising_is_allowed_some_weeks_early_and_counts_from_the_start_where_it_was_never_done() -> None:
    start = TODAY - timedelta(days=300)
    task = tasks(unit(has_pressurised_tank=True, commissioned_on=start))["sanitise tank and housings"]
    assert (task.due_on, task.not_before) == (start + timedelta(days=365), start + timedelta(days=305))
    assert "none on record since" in task.reason


@pytest.mark.parametrize(("ago", "wanted"), [(89, False), (90, True)])
@pytest.mark.parametrize("was_read", [True, False])
def test_a_unit_nobody_reads_is_looked_at(ago: int, wanted: bool, was_read: bool) -> None:
    since = TODAY - timedelta(days=ago)
    facts = unit(commissioned_on=since, last_read_on=since if was_read else None)
    decided = tasks(facts)
    assert list(decided) == (["inspect unit"] if wanted else [])
    if wanted:
        assert decided["inspect unit"].reason.startswith("Nobody" if was_read else "No reading")


# -- all together


def test_the_same_facts_give_the_same_tasks_in_order_of_their_keys() -> None:
    facts = at(
        pair(5.0, 120.0),
        has_pressurised_tank=True,
        last_sanitised_on=TODAY - timedelta(days=300),
        findings=(finding(FindingWork(NeedKind.REPAIR, label="valve")),),
    )
    first = tasks_of_unit(facts, policy=POLICY, today=TODAY)
    assert first == tasks_of_unit(facts, policy=POLICY, today=TODAY)
    assert [task.key for task in first] == ["repair:unit-1:seen", "rotate:11:1", "sanitise:unit-1"]


def test_skills_of_the_policy_go_with_the_work() -> None:
    policy = at(POLICY, rules=CompanyRules(task_skills={"repair": ("plumbing", "electrics")}))
    open_finding = finding(FindingWork(NeedKind.REPAIR))
    assert tasks(unit(findings=(open_finding,)), policy)["repair unit"].skills == ("electrics", "plumbing")


def test_a_distribution_of_the_wrong_width_is_refused() -> None:
    with pytest.raises(PlanningError, match="must hold"):
        ForecastFacts(key=1, cartridge=1, quantile_days=(1.0, 2.0))


def test_a_task_of_which_nothing_more_is_said_costs_nothing_and_waits_for_nothing() -> None:
    plain = Task("key", NeedKind.INSPECT, Source.CALENDAR, "unit", 10)
    assert (plain.price, plain.late_cost_per_day, plain.exhausted_cost_per_day) == (0.0, 0.0, 0.0)
    assert (plain.is_urgent, plain.not_before, plain.due_on, plain.reading) == (False, None, None, None)
