"""What the study of faults counts is what it says."""

from collections.abc import Collection
from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import pytest

from fleet.engineering.diagnosis import CAUSES
from tests.benchmarks.diary_causes import DIARY_WORDS
from tests.benchmarks.fault_causes import HISTORY_WORDS, NOTICES, CauseWords
from tests.benchmarks.fault_product import Day, Said
from tests.benchmarks.fault_scores import notices, score, wrong_findings
from tests.strangers.fault_histories.every import EVERY_FAULT, healthy_histories
from tests.strangers.fault_histories.make import make_fault_history
from tests.strangers.fault_histories.records import AlsoTrue, History, Truth
from tests.strangers.fault_histories.words import FAULTS
from tests.strangers.service_diaries.words import WORDS

SINCE, KNOWABLE = date(2025, 3, 1), date(2025, 3, 20)


@cache
def history() -> History:
    """A fault with a seal or a tear as its right cause, on days of its own."""
    fault = next(each for each in EVERY_FAULT if each.name == "membrane burst")
    made = make_fault_history(fault, "easy", code="F1", seed=3)
    assert made.truth
    truth = replace(made.truth, since=SINCE, knowable_on=KNOWABLE)
    return replace(made, truth=truth, also_true=(AlsoTrue("resin exhausted", SINCE, SINCE + timedelta(days=90)),))


def truth_of(of: History) -> Truth:
    assert of.truth
    return of.truth


def said(cause: str, opened_on: date = KNOWABLE) -> Said:
    return Said(cause, "D00", cause.replace("_", " "), opened_on, "")


def day(on: date, *causes: str, opened_on: date | None = None, flags: tuple[str, ...] = ()) -> Day:
    return Day(on, tuple(said(cause, opened_on or on) for cause in causes), flags, ())


@pytest.mark.parametrize(
    ("cause_words", "words"), [(HISTORY_WORDS, FAULTS), (DIARY_WORDS, WORDS)], ids=["histories", "diaries"]
)
def test_every_cause_that_the_study_knows_is_one_that_diagnosis_names(
    cause_words: CauseWords, words: Collection[str]
) -> None:
    assert {cause for causes in cause_words.causes.values() for cause in causes} | NOTICES <= set(CAUSES)
    assert set(cause_words.causes) == set(words)
    assert set(cause_words.flags) <= set(words)


def test_each_set_is_scored_in_its_own_words() -> None:
    own = CauseWords({"seal leaks": ("biofouling",), "membrane damaged": (), "resin exhausted": ()}, {})
    days = [day(KNOWABLE, "biofouling")]
    of_history = replace(history(), truth=replace(truth_of(history()), accepted=("seal leaks", "membrane damaged")))
    assert score(of_history, days, own).place == 1
    assert score(of_history, days).place == 0
    before = [day(SINCE - timedelta(days=9), "di_both_exhausted")]
    assert not wrong_findings(history(), before)
    assert [each.cause for each in wrong_findings(history(), before, own)] == ["di_both_exhausted"]


@pytest.mark.parametrize(
    ("causes", "place"),
    [
        (("o_ring_leak",), 1),
        (("warm_water_not_a_fault", "o_ring_leak"), 1),
        (("di_both_exhausted", "o_ring_leak"), 1),
        (("biofouling", "o_ring_leak"), 2),
        (("biofouling",), 0),
        ((), 0),
    ],
)
def test_the_place_is_among_what_is_not_so(causes: tuple[str, ...], place: int) -> None:
    days = [day(SINCE - timedelta(days=9), "o_ring_leak"), day(KNOWABLE, *causes)]
    assert score(history(), days).place == place


def test_days_run_from_knowable_to_said_and_what_closes_is_not_kept() -> None:
    later = KNOWABLE + timedelta(days=10)
    last = KNOWABLE + timedelta(days=40)
    days = [day(SINCE, "biofouling"), day(later, "biofouling", "o_ring_leak"), day(last, "o_ring_leak")]
    scored = score(history(), days)
    assert (scored.place, scored.days_to_found, scored.days_to_first, scored.is_still_said) == (1, 10, 40, True)
    closed = score(history(), [*days, day(last + timedelta(days=1))])
    assert (closed.place, closed.is_still_said) == (1, False)
    sooner = score(history(), [day(SINCE + timedelta(days=4), "o_ring_leak")])
    assert sooner.days_to_found == -15


def test_what_was_said_before_the_fault_is_wrong_and_no_merit() -> None:
    before = SINCE - timedelta(days=30)
    days = [day(before, "o_ring_leak"), day(KNOWABLE, "o_ring_leak", opened_on=before)]
    assert score(history(), days).place == 0
    assert [(wrong.cause, wrong.on) for wrong in wrong_findings(history(), days)] == [("o_ring_leak", before)]


def test_a_wrong_finding_counts_once_each_time_it_is_opened_and_the_truth_is_not_wrong() -> None:
    sound = replace(next(healthy_histories(count=1)), also_true=(AlsoTrue("lead resin exhausted", SINCE, KNOWABLE),))
    weeks = [SINCE + timedelta(weeks=n) for n in range(4)]
    days = [
        day(weeks[0], "di_lead_exhausted", "biofouling"),
        day(weeks[1], "biofouling", "cold_water_not_a_fault", opened_on=weeks[0]),
        day(weeks[2]),
        day(weeks[3], "biofouling"),
        day(weeks[3] + timedelta(days=60), "di_lead_exhausted"),
    ]
    wrong = [(each.cause, each.on) for each in wrong_findings(sound, days)]
    assert wrong == [("biofouling", weeks[0]), ("biofouling", weeks[3]), ("di_lead_exhausted", days[4].day)]
    assert notices(days) == 1
