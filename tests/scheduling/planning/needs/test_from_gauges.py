"""Which reading of a unit is wanted, how it is had, and what waits for it."""

import dataclasses
from datetime import date, timedelta
from typing import Any

import pytest

from scheduling.planning.company_rules import CompanyRules, ServicePolicy
from scheduling.planning.needs.dates import need_dates
from scheduling.planning.needs.decide import tasks_of_unit
from scheduling.planning.needs.facts import FindingFacts, GaugeFacts, PositionFacts, UnitFacts
from scheduling.planning.needs.from_gauges import (
    RECENT_DAYS,
    WHAT_IS_SEEN,
    _unknown,
    _unknowns,
    can_be_read,
    with_reading,
)
from scheduling.planning.needs.gauges import GAUGES, gauge_of
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.needs.tasks import Source, Task, TaskList
from scheduling.planning.needs.ways_to_read import ReadingWanted, Way
from scheduling.planning.needs.work import FindingWork
from scheduling.planning.policy import Policy
from scheduling.planning.words import readings as words
from tests.scheduling.planning.needs.test_decide import SEEN, TODAY, pair, position, unit

POLICY = ServicePolicy(Policy(), CompanyRules(client_answer_share=1.0, membrane_probability=0.5))
PRODUCT = "product_tds_mg_per_l"
SALT_PASSAGE = frozenset({"feed_tds_mg_per_l", "permeate_tds_mg_per_l"})
YESTERDAY = TODAY - timedelta(days=1)
SEEN_WANTED = "take_reading water on the floor, taste or odour, slow filling, colour of the resin"

at = dataclasses.replace


def membrane(median: float = 0.0, **values: Any) -> PositionFacts:
    """Anything between three hundred days before and after a day; 400.00 to replace, little of which is left."""
    dear = at(position("membrane", median, spread=300.0, used_days=900.0, remaining_share=0.2), price=400.0)
    return at(dear, **values)


def decided(facts: UnitFacts, policy: ServicePolicy = POLICY) -> dict[str, Task]:
    tasks = tasks_of_unit(facts, policy=policy, today=TODAY)
    return {f"{task.kind.value} {task.label}": task for task in with_reading(tasks, facts, policy=policy, today=TODAY)}


def reading_of(tasks: dict[str, Task]) -> Task | None:
    return next((task for task in tasks.values() if task.reading is not None), None)


def gauges(**values: Any) -> GaugeFacts:
    return GaugeFacts(**{"by_client": SALT_PASSAGE, "by_installer": SALT_PASSAGE, "visit_price": 30.0, **values})


def test_the_client_is_asked_where_that_gains_most() -> None:
    task = reading_of(decided(unit(membrane(), gauges=gauges())))
    assert task is not None
    assert task.reading is not None
    assert (task.kind, task.key, task.source) == (NeedKind.TAKE_READING, "take_reading:unit-1", Source.FORECAST)
    assert (task.reading.way, task.reading.position) == (Way.ASK_CLIENT, 11)
    assert task.label == "feed TDS, permeate TDS"
    assert task.reading.saves > task.reading.price == 2.0
    assert task.late_cost_per_day == 0.0, "to ask is no reason for a visit"
    assert task.reason == (
        "Ask the client to read feed TDS, permeate TDS. Knowing before parts are replaced saves about "
        f"{task.reading.saves:.2f} EUR; it costs 2.00."
    )


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"by_client": frozenset({PRODUCT}), "by_installer": frozenset({PRODUCT})}, "no gauge shows it"),
        ({"by_client": frozenset({"feed_tds_mg_per_l"}), "by_installer": frozenset()}, "half of what has to be read"),
        ({"read_on": dict.fromkeys(SALT_PASSAGE, TODAY - timedelta(days=RECENT_DAYS - 1))}, "it was read lately"),
    ],
)
def test_a_way_is_offered_only_where_it_shows_something_new(change: dict[str, Any], why: str) -> None:
    assert reading_of(decided(unit(membrane(), gauges=gauges(**change)))) is None, why


@pytest.mark.parametrize(
    ("read_days_ago", "used_days"), [(RECENT_DAYS, 900.0), (3, 2.0)], ids=["weeks ago", "of the cartridge before"]
)
def test_an_old_reading_and_one_of_another_cartridge_do_not_count(read_days_ago: int, used_days: float) -> None:
    newest = membrane().newest_forecast
    assert newest is not None
    changed = membrane(newest_forecast=at(newest, used_days=used_days))
    read_on = dict.fromkeys(SALT_PASSAGE, TODAY - timedelta(days=read_days_ago))
    assert reading_of(decided(unit(changed, gauges=gauges(read_on=read_on)))) is not None


@pytest.mark.parametrize(
    ("read_days_ago", "is_asked_for"), [(RECENT_DAYS - 0.5, False), (RECENT_DAYS + 0.5, True), (None, True)]
)
def test_what_the_forecast_rests_on_was_read_lately(read_days_ago: float | None, is_asked_for: bool) -> None:
    """A membrane is dated by its flow too: whoever read that has looked at it."""
    newest = membrane().newest_forecast
    assert newest is not None
    facts = unit(membrane(newest_forecast=at(newest, read_days_ago=read_days_ago)), gauges=gauges())
    assert (reading_of(decided(facts)) is not None) is is_asked_for


def test_a_date_that_no_gauge_moves_is_not_asked_for() -> None:
    """The maximum service time, a finding that has seen it, and what must be in the next rounds."""
    newest = membrane().newest_forecast
    assert newest is not None
    aged = membrane(newest_forecast=at(newest, is_maximum_service_time=True))
    assert reading_of(decided(unit(aged, gauges=gauges()))) is None
    seen = FindingFacts(key=5, cause="seen", work=FindingWork(NeedKind.REPLACE, "membrane"), seen_at=SEEN)
    assert reading_of(decided(unit(membrane(), findings=(seen,), gauges=gauges()))) is None
    urgent = at(POLICY, planning=Policy(urgent_probability=0.4, urgent_late_cost_per_day=0.1))
    assert reading_of(decided(unit(membrane(), gauges=gauges()), urgent)) is None


def test_whoever_comes_next_reads_where_the_client_cannot() -> None:
    """A blocked sediment filter brings somebody in ten days; the reading has no cost of waiting that would."""
    facts = unit(membrane(60.0), position("sediment", 10.0, cartridge=2), gauges=gauges(by_client=frozenset()))
    task = reading_of(decided(facts))
    assert task is not None
    assert task.reading is not None
    assert (task.reading.way, task.late_cost_per_day) == (Way.NEXT_VISIT, 0.0)
    # 8 minutes at 0.60
    assert task.reading.price == pytest.approx(4.8)
    without = decided(unit(membrane(60.0), gauges=gauges(by_client=frozenset(), visit_price=1_000.0)))
    assert reading_of(without) is None, "nobody comes, and to send somebody costs more than it saves"


def test_it_is_read_on_the_visit_for_which_it_was_weighed_or_a_little_sooner() -> None:
    """The sediment filter is surely exhausted in 35 days, and its visit pays most then."""
    facts = unit(membrane(60.0), position("sediment", 35.0, cartridge=2), gauges=gauges(by_client=frozenset()))
    task = reading_of(decided(facts))
    assert task is not None
    assert task.not_before == TODAY + timedelta(days=35 - 14)


def test_a_confirmed_visit_is_a_next_visit() -> None:
    facts = unit(membrane(60.0), gauges=gauges(by_client=frozenset(), next_visit_on=TODAY + timedelta(days=3)))
    task = reading_of(decided(facts))
    assert task is not None
    assert task.reading is not None
    assert task.reading.way == Way.NEXT_VISIT


def test_somebody_is_sent_where_that_pays() -> None:
    cheap = at(POLICY, planning=Policy(task_minutes={**Policy().task_minutes, "take_reading": 1.0}))
    task = reading_of(decided(unit(membrane(60.0), gauges=gauges(by_client=frozenset(), visit_price=3.0)), cheap))
    assert task is not None
    assert task.reading is not None
    assert task.reading.way == Way.SEND
    assert task.reading.price == pytest.approx(3.6)
    assert task.late_cost_per_day == POLICY.undone_cost("take_reading"), "what brings somebody there"


def test_what_the_answer_decides_waits_for_it_and_no_longer() -> None:
    facts = unit(membrane(), gauges=gauges())
    first = decided(facts)
    assert reading_of(first) is not None
    assert first["replace membrane"].not_before == TODAY + timedelta(days=5)
    needs = decided(at(facts, asked_on=TODAY - timedelta(days=3)))
    assert needs["replace membrane"].not_before == TODAY + timedelta(days=2)
    # asked in vain: it is still worth a reading, and the work goes on
    in_vain = decided(at(facts, asked_on=TODAY - timedelta(days=5)))
    assert reading_of(in_vain) is not None
    assert in_vain["replace membrane"].not_before is None
    agreed = decided(at(facts, gauges=gauges(next_visit_on=TODAY + timedelta(days=2))))
    assert agreed["replace membrane"].not_before is None, "a confirmed visit is not held up"


def test_what_the_answer_does_not_decide_goes_on() -> None:
    facts = unit(membrane(), position("sediment", 0.0, cartridge=2), gauges=gauges())
    assert decided(facts)["replace sediment filter"].not_before is None


# -- units that nobody reads


def never_read(**values: Any) -> UnitFacts:
    sound = at(position("resin", 400.0), stage="resin")
    values = {"last_read_on": None, "commissioned_on": TODAY - timedelta(days=500), "asked_on": TODAY, **values}
    return unit(sound, **values)


def test_a_unit_that_was_never_read_is_on_the_list_and_nobody_is_sent() -> None:
    tasks = decided(never_read(gauges=gauges(by_client=frozenset(), by_installer=frozenset({PRODUCT}))))
    assert list(tasks) == ["take_reading product TDS", SEEN_WANTED]
    task, _ = tasks.values()
    assert task.reading is not None
    assert (task.reading.way, task.reading.position, task.reading.saves) == (Way.NEXT_VISIT, None, 0.0)
    assert (task.source, task.late_cost_per_day) == (Source.CALENDAR, 0.0)
    assert task.reason == (
        "Read product TDS at the next visit. It was never read: its forecasts use only its label and load."
    )
    by_client = decided(never_read(gauges=gauges(by_client=frozenset({PRODUCT}))))["take_reading product TDS"]
    assert by_client.reading is not None
    assert by_client.reading.way == Way.ASK_CLIENT


@pytest.mark.parametrize(("days", "sent"), [(89, False), (90, True)])
def test_it_is_looked_over_when_asking_was_in_vain_for_too_long(days: int, sent: bool) -> None:
    facts = never_read(
        asked_on=TODAY - timedelta(days=days), gauges=gauges(by_client=frozenset(), by_installer=frozenset({PRODUCT}))
    )
    tasks = decided(facts)
    assert list(tasks) == ["inspect unit" if sent else "take_reading product TDS", SEEN_WANTED]
    task, _ = tasks.values()
    assert task.reading is not None
    assert task.reading.reads == (PRODUCT,)
    if sent:
        assert task.reason.startswith("No reading since it was commissioned 500 days ago")
        assert task.late_cost_per_day == POLICY.undone_cost("inspect")


def test_nobody_is_sent_to_a_unit_that_fell_silent_before_its_client_was_asked() -> None:
    silent = never_read(
        last_read_on=TODAY - timedelta(days=200), asked_on=None, gauges=gauges(by_client=frozenset({PRODUCT}))
    )
    tasks = decided(silent)
    assert sorted(tasks) == ["inspect unit", "take_reading product TDS"]
    assert tasks["inspect unit"].not_before == TODAY + timedelta(days=5)
    needs = decided(at(silent, asked_on=TODAY - timedelta(days=5)))
    assert needs["inspect unit"].not_before is None


@pytest.mark.parametrize(("days", "sent"), [(0, False), (89, False), (90, True), (-3, True)])
def test_readings_that_came_in_with_a_company_are_no_silence_of_its_clients(days: int, sent: bool) -> None:
    facts = never_read(
        last_read_on=TODAY - timedelta(days=200),
        kept_since=TODAY - timedelta(days=days),
        gauges=gauges(by_client=frozenset(), by_installer=frozenset({PRODUCT})),
    )
    assert ("inspect unit" in decided(facts)) is sent


def test_what_was_never_written_down_is_no_reason_to_go() -> None:
    empty = dataclasses.replace(position("sediment", 10.0), cartridge=None, newest_forecast=None, item=None)
    task = decided(unit(membrane(), empty, gauges=gauges()))["inspect unit"]
    assert task.late_cost_per_day == 0.0
    known = dataclasses.replace(empty, item=3)
    assert decided(unit(membrane(), known, gauges=gauges()))["inspect unit"].late_cost_per_day > 0.0
    silent = never_read(last_read_on=TODAY - timedelta(days=200), gauges=gauges(by_client=frozenset()))
    both = decided(dataclasses.replace(silent, positions=(empty,)))["inspect unit"]
    assert both.late_cost_per_day == POLICY.undone_cost("inspect")


def test_whoever_looks_a_unit_over_for_a_finding_reads_it_anyway() -> None:
    seen = FindingFacts(key=5, cause="seen", work=FindingWork(NeedKind.INSPECT), seen_at=SEEN)
    tasks = decided(unit(membrane(), findings=(seen,), gauges=gauges()))
    assert reading_of(tasks) is None


def test_a_unit_that_is_read_is_not_asked_for_because_a_position_is_empty() -> None:
    empty = at(position("carbon", 400.0, cartridge=2), cartridge=None)
    tasks = decided(unit(at(position("resin", 400.0), stage="resin"), empty, gauges=gauges(by_installer={PRODUCT})))
    assert list(tasks) == ["inspect unit"]
    assert reading_of(tasks) is None
    assert "Read" not in tasks["inspect unit"].reason


def test_a_unit_without_a_gauge_that_anybody_reads_cannot_be_read() -> None:
    assert not can_be_read(unit(position("sediment", 9.0), gauges=gauges()))
    assert not can_be_read(unit(at(membrane(), cartridge=None), gauges=gauges()))
    assert can_be_read(unit(membrane(), gauges=gauges(by_client=frozenset())))


def test_a_pair_is_read_between_its_two_and_behind_them() -> None:
    reads = {PRODUCT, "permeate_tds_mg_per_l", "interstage_tds_mg_per_l"}
    facts = at(pair(400.0, 500.0), last_read_on=None, asked_on=TODAY, gauges=gauges(by_client=frozenset(reads)))
    task = reading_of(decided(facts))
    assert task is not None
    assert task.reading is not None
    assert set(task.reading.reads) == reads


def test_every_gauge_has_words() -> None:
    for gauge in GAUGES:
        assert all(words.quantities([column]) for column in gauge.reads)


def test_the_same_facts_give_the_same_tasks() -> None:
    facts = unit(membrane(), position("sediment", 10.0, cartridge=2), gauges=gauges(), asked_on=date(2026, 2, 27))
    assert decided(facts) == decided(facts)
    keys = [task.key for task in decided(facts).values()]
    assert keys == sorted(keys)


def reading_alone(facts: UnitFacts, policy: ServicePolicy = POLICY) -> ReadingWanted | None:
    """The reading of a unit nothing of which is to be replaced yet."""
    (*_, task) = with_reading([], facts, policy=policy, today=TODAY) or [None]
    return task.reading if task is not None else None


def test_a_membrane_is_read_before_it_is_to_be_replaced_and_no_other_cartridge_is() -> None:
    """What it may waste is its own price, whether or not a task names it."""
    wanted = reading_alone(unit(membrane(), gauges=gauges()))
    assert wanted is not None
    named = reading_of(decided(unit(membrane(), gauges=gauges())))
    assert named is not None
    assert named.reading is not None
    assert wanted.saves == pytest.approx(named.reading.saves, rel=0.3)
    dearer = reading_alone(unit(membrane(price=800.0), gauges=gauges()))
    assert dearer is not None
    assert dearer.saves > 1.2 * wanted.saves
    resin = at(membrane(), stage="resin")
    assert reading_alone(unit(resin, gauges=gauges(by_client=frozenset({PRODUCT, "permeate_tds_mg_per_l"})))) is None


@pytest.mark.parametrize(("other", "shares"), [(None, 1), ("sediment", 2)])
def test_cartridges_that_are_due_share_the_price_of_a_visit(other: str | None, shares: int) -> None:
    """Of 30 for a visit half belongs to each of two."""
    positions = [membrane(), *([position(other, 400.0, cartridge=2)] if other else [])]
    facts = unit(*positions, gauges=gauges())
    tasks = TaskList(facts, POLICY)
    tasks.by_key = {task.key: task for task in tasks_of_unit(facts, policy=POLICY, today=TODAY)}
    due = [task for task in tasks.by_key.values() if task.kind == NeedKind.REPLACE]
    forecast = positions[0].forecast
    assert forecast is not None
    unknown = _unknown(positions[0], forecast, None, gauge_of("membrane"), tasks)
    assert unknown.visit_price == pytest.approx(30.0 / max(len(due), 1))
    assert (unknown.waste, unknown.used_days) == (pytest.approx(400.0 * known_share(facts)), 900.0)
    assert unknown.interval_days == 7.0 * 26.0
    assert unknown.least_probability == 0.5
    assert unknown.exhausted_cost_per_day == 0.0
    assert unknown.late_cost_per_day == POLICY.planning.late_cost("membrane", facts.use)


def known_share(facts: UnitFacts) -> float:
    """What is expected to be left of a membrane that has served 900 days, by its own forecast."""
    return need_dates(forecast=facts.positions[0].forecast).remaining_share


@pytest.mark.parametrize(("visit", "counts"), [(182, True), (183, False)])
def test_a_visit_beyond_the_weeks_that_are_bundled_is_no_next_visit(visit: int, counts: bool) -> None:
    """Of 26 weeks."""
    facts = unit(
        membrane(60.0),
        gauges=gauges(by_client=frozenset(), visit_price=1_000.0, next_visit_on=TODAY + timedelta(days=visit)),
    )
    tasks = TaskList(facts, POLICY)
    tasks.by_key = {task.key: task for task in tasks_of_unit(facts, policy=POLICY, today=TODAY)}
    (unknown,) = _unknowns(tasks, TODAY)
    assert unknown.next_visit_day == (float(visit) if counts else None)


def _seen(facts: UnitFacts) -> Task | None:
    tasks = with_reading([], facts, policy=POLICY, today=TODAY)
    return next((task for task in tasks if task.key.endswith(WHAT_IS_SEEN)), None)


def test_a_client_without_a_meter_is_asked_what_can_be_seen() -> None:
    blind = gauges(by_client=frozenset())
    never = unit(position("sediment", 100.0), position("resin", 100.0), gauges=blind, last_read_on=None)
    task = _seen(never)
    assert task is not None
    assert task.reading is not None
    assert task.reading.way == Way.ASK_CLIENT
    assert task.reading.reads == ("water_on_floor", "taste_or_odour", "slow_filling", "resin_colour_changed_fraction")
    assert task.reason == (
        "Ask the client, who has no meter, what they see: water on the floor, taste or odour, slow filling, colour of "
        "the resin. It was never read: its forecasts use only its label and load."
    )
    without_resin = _seen(at(never, positions=(position("sediment", 100.0),)))
    assert without_resin is not None
    assert without_resin.reading is not None
    assert "resin_colour_changed_fraction" not in without_resin.reading.reads


def test_nobody_is_asked_twice_nor_whoever_can_read() -> None:
    blind = gauges(by_client=frozenset())
    never = unit(position("membrane", 100.0), gauges=blind, last_read_on=None)
    assert _seen(never) is not None
    assert _seen(at(never, seen_on=YESTERDAY)) is None, "they answered"
    long_ago = TODAY - timedelta(days=POLICY.rules.unread_after_days)
    assert _seen(at(never, seen_on=long_ago)) is not None
    assert _seen(at(never, last_read_on=YESTERDAY)) is None, "somebody read it"
    assert _seen(at(never, gauges=gauges())) is None, "they are asked to read"
    assert _seen(at(never, positions=())) is None
