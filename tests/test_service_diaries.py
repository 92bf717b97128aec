"""The service diaries are many, the same each time, logs that can be read, and show their fault to a plain eye."""

from collections import Counter
from functools import cache
from itertools import pairwise

import pytest

from tests.strangers.fault_histories.records import History
from tests.strangers.service_diaries.catalogue import ITEMS
from tests.strangers.service_diaries.every import EVERY_FAULT, SOUND, VARIANTS, fault_histories, sound_histories
from tests.strangers.service_diaries.fault import Fault
from tests.strangers.service_diaries.hydraulics import Body, run
from tests.strangers.service_diaries.make import fault_history
from tests.strangers.service_diaries.notes import Note, read_log
from tests.strangers.service_diaries.signs import Papers, chlorine_through, first_day_to_know, passage_up, product_high
from tests.strangers.service_diaries.words import WORDS

SEED = 4


@cache
def ill() -> list[History]:
    return fault_histories(SEED)


@cache
def sound() -> list[History]:
    return sound_histories(SEED, 30)


def log_of(history: History) -> list[Note]:
    return read_log(history.header, history.rows)


def papers_of(history: History) -> Papers:
    return Papers(history.layout.target_tds, history.restrictor_l_per_day, history.water.tds)


def test_the_set_is_large_and_each_fault_comes_as_a_good_and_a_lazy_diary() -> None:
    histories = ill()
    assert len(histories) >= 60
    assert SOUND >= 200
    kinds = Counter((history.truth.fault, history.variant) for history in histories if history.truth)
    assert len({fault.name for fault in EVERY_FAULT}) == len(EVERY_FAULT) >= 20
    assert kinds == {(fault.name, variant): fault.weight for fault in EVERY_FAULT for variant in VARIANTS}
    assert len({history.name for history in histories}) == len(histories)


def test_the_same_seed_gives_the_same_histories() -> None:
    fault = EVERY_FAULT[0]
    first, again = (fault_history(fault, "lazy", number=0, code="F001", seed=SEED) for _ in range(2))
    assert first == again == ill()[1]
    assert first.rows != fault_history(fault, "lazy", number=0, code="F001", seed=SEED + 1).rows
    assert sound()[:4] == sound_histories(SEED, 4)


def test_every_accepted_cause_and_every_side_effect_has_its_words() -> None:
    for history in [*ill(), *sound()]:
        symptoms = {each.words for each in history.also_true} | set(history.truth.accepted if history.truth else ())
        assert symptoms <= set(WORDS), history.name


@pytest.mark.parametrize("fault", EVERY_FAULT, ids=lambda fault: fault.name)
def test_a_fault_can_be_known_from_its_own_log_and_not_before_it_began(fault: Fault) -> None:
    for history in ill():
        truth = history.truth
        assert truth
        if truth.fault != fault.name:
            continue
        assert history.commissioned_on <= truth.since <= truth.knowable_on < history.last_day
        log = log_of(history)
        if fault.sign is None:
            assert max(each.at.date() for each in history.observations) == truth.knowable_on
            continue
        first_day = first_day_to_know(fault.sign, papers_of(history), log, truth.since, times=fault.times)
        assert first_day == truth.knowable_on, history.name
        assert sum(truth.knowable_on <= note.at.date() for note in log) >= 2


@pytest.mark.parametrize("fault", EVERY_FAULT, ids=lambda fault: fault.name)
def test_the_sign_of_a_fault_is_not_in_its_sound_time(fault: Fault) -> None:
    """What a sign shows is the fault: half-way through the sound time nothing of it can be seen."""
    if fault.sign is None or fault.is_there_from_the_first_day:
        return
    for history in ill():
        truth = history.truth
        assert truth
        if truth.fault == fault.name:
            log = [note for note in log_of(history) if note.at.date() < truth.since]
            middle = log[len(log) // 2].at.date()
            first_day = first_day_to_know(fault.sign, papers_of(history), log, middle, times=fault.times)
            assert first_day is None, (history.name, first_day)


def test_sound_units_show_no_gross_sign_and_half_of_them_are_old() -> None:
    assert sum(history.years > 2 for history in sound()) == len(sound()) / 2
    for history in sound():
        assert history.truth is None
        log, papers = log_of(history), papers_of(history)
        middle = log[len(log) // 2].at.date()
        for sign in (passage_up(2.0), chlorine_through, product_high):
            assert first_day_to_know(sign, papers, log, middle, times=2) is None, history.name


def test_filters_of_sound_units_are_changed_before_their_time() -> None:
    for history in sound():
        for stage in ("sediment", "carbon"):
            days = [change.at.date() for change in history.changes if change.stage == stage]
            days = [history.commissioned_on, *days, history.last_day]
            assert max((after - before).days for before, after in pairwise(days)) <= 400, history.name


def test_logs_are_as_wide_as_their_header_and_name_parts_on_the_shelf() -> None:
    for history in [*ill(), *sound()]:
        width = history.header.count(",")
        assert all(row.text.count(",") == width for row in history.rows)
        assert list(history.rows) == sorted(history.rows, key=lambda row: row.at)
        assert {place.item for place in history.layout.train} <= set(ITEMS)
        assert all(row.text.startswith(history.name[:4]) for row in history.rows)


def test_works_that_moved_the_salt_are_true_beside_the_unit_whether_it_rose_or_fell() -> None:
    changed = [history for history in sound() if abs(history.water.later_tds / history.water.tds - 1) >= 0.1]
    assert {history.water.later_tds > history.water.tds for history in changed} == {True, False}
    for history in changed:
        spells = [each for each in history.also_true if each.words == "feed water changed"]
        assert [abs((each.since - history.water.changes_on).days) <= 7 for each in spells] == [True], history.name


def test_nobody_changes_carbon_at_every_look_because_the_waste_runs_free() -> None:
    fault = next(each for each in EVERY_FAULT if each.name == "waste runs free")
    for seed in range(1, 9):
        history = fault_history(fault, "lazy", number=0, code="F019", seed=seed)
        assert history.truth
        changed = [each for each in history.changes if each.stage == "carbon" and each.at.date() > history.truth.since]
        assert len(changed) <= 1, seed


def test_the_water_of_a_unit_adds_up() -> None:
    """Salt in is salt out, and at the label's condition a membrane gives what its label says."""
    body = Body(284.0, 3.45, 1.0, 0.04, 1609.0, False, 0.0, 0.0, 0.0, throttle=0.0)
    running = run(body, 3.53, 25.0, 250.0)
    assert running.permeate == pytest.approx(284.0, rel=0.05)
    assert running.permeate_tds == pytest.approx(0.04 * 250 * 1.09, rel=0.05)
    salt_out = running.permeate * running.permeate_tds + running.waste * running.waste_tds
    assert salt_out == pytest.approx((running.permeate + running.waste) * 250.0, rel=1e-6)
