"""What the days of a history are worth: found first, later or not at all, how soon, and what was said wrongly."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from tests.benchmarks.fault_causes import HISTORY_WORDS, NOTICES, CauseWords
from tests.benchmarks.fault_product import Day, Said
from tests.strangers.fault_histories.records import History

SLACK = timedelta(days=20)
"""Something true may be said so long before and after."""


@dataclass(frozen=True)
class Score:
    """How one fault history went."""

    place: int
    """Best place of an accepted cause among the findings of a day on or after the fault, what is true beside the fault
    left out; 0 for missed."""
    days_to_found: int | None
    """From the day on which it could be known to the day on which it was said; less than 0 is sooner."""
    days_to_first: int | None
    is_still_said: bool
    """An accepted cause stands among the findings of the last day too: nobody has mended anything."""


@dataclass(frozen=True)
class Wrong:
    """A finding that was not so."""

    cause: str
    title: str
    on: date


def score(history: History, days: Sequence[Day], words: CauseWords = HISTORY_WORDS) -> Score:
    """Hold what was said against the truth of a history with a fault."""
    truth = history.truth
    assert truth is not None
    found_on = first_on = None
    best = 0
    place = 0
    for day in days:
        if day.day < truth.since:
            continue
        place = _place(history, day, truth.accepted, truth.since, words)
        if place and found_on is None:
            found_on = day.day
        if place == 1 and first_on is None:
            first_on = day.day
        if place:
            best = min(best or place, place)

    def waited(on: date | None) -> int | None:
        return None if on is None else (on - truth.knowable_on).days

    return Score(best, waited(found_on), waited(first_on), place > 0)


def _place(history: History, day: Day, accepted: Sequence[str], since: date, cause_words: CauseWords) -> int:
    """Place of the first accepted cause that was opened since the fault; a doubt of the intake is told first."""
    flags = {flag for words in accepted for flag in cause_words.flags.get(words, ())}
    if flags.intersection(day.flags):
        return 1
    right = {cause for words in accepted for cause in cause_words.causes[words]}
    place = 0
    for finding in day.findings:
        is_right = finding.cause in right and finding.opened_on >= since
        if is_right or not (finding.cause in NOTICES or _is_true(history, finding, day.day, cause_words)):
            place += 1
        if is_right:
            return place
    return 0


def wrong_findings(history: History, days: Sequence[Day], words: CauseWords = HISTORY_WORDS) -> list[Wrong]:
    """Findings of a sound time that nothing true explains, each once, on the day on which it was opened."""
    until = history.truth.since if history.truth else date.max
    wrong_by_opening: dict[tuple[str, date], Wrong] = {}
    for day in days:
        if day.day >= until:
            break
        for finding in day.findings:
            if finding.cause not in NOTICES and not _is_true(history, finding, day.day, words):
                wrong_by_opening.setdefault(
                    (finding.cause, finding.opened_on), Wrong(finding.cause, finding.title, day.day)
                )
    return list(wrong_by_opening.values())


def _is_true(history: History, finding: Said, day: date, cause_words: CauseWords) -> bool:
    words = cause_words.of(finding.cause)
    return any(true.words in words and true.since - SLACK <= day <= true.until + SLACK for true in history.also_true)


def notices(days: Sequence[Day]) -> int:
    """Openings of what says that nothing is wrong."""
    return len(
        {(finding.cause, finding.opened_on) for day in days for finding in day.findings if finding.cause in NOTICES}
    )
