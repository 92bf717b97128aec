"""Diagnosis held against histories with a known fault, and against sound units, by somebody who has not read the rules.

    python -m tests.benchmarks.study_faults [--set histories] [--seed 11] [--healthy 220] [--only TEXT]
                                            [--every 1] [--processes 1] [--list]

Each history of `tests/strangers/fault_histories`, or of `service_diaries` with `--set diaries`, goes through the
product as its people would send it: site, unit, train and catalogue over the API, then each day's feed water,
cartridge changes and log rows, with the clock of that day, in a database in memory that is thrown away. All units
belong to one company, so that what follows a day is made anew for all of them at once. In the evening the findings are
asked. A fault is 'first' when an accepted cause stood first among the findings on some day
since the fault, 'later' when it was listed behind others, else 'missed'. Notices that nothing is wrong
(`fault_causes.NOTICES`) and what is true beside the fault (a resin that the fault has exhausted) take no place; a
doubt that the intake tells about a row counts as told first. 'Kept' is the share of the found that still stands on
the last day, as nobody mends anything. Days run from the day on which a good technician could know to the day on
which it was listed; less than 0 is sooner. What people saw (a leak, a drain that never stops) is sent on its day as a
reading of its own.

A wrong finding is one of a sound time that nothing true of the history explains: of sound units at any time, of the
others before their fault. `--list` prints each miss and each wrong finding with its sentence. Nothing may be tuned on
the seed that is reported.
"""

import argparse
import statistics
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context

from tests.benchmarks import fault_product
from tests.benchmarks.fault_product import Day, Desk
from tests.benchmarks.fault_scores import Score, Wrong, notices, score, wrong_findings
from tests.benchmarks.fault_sets import SETS, FaultSet
from tests.strangers.fault_histories.records import History


@dataclass(frozen=True)
class Outcome:
    """A history and what came of it."""

    history: History
    score: Score | None
    wrong: Sequence[Wrong]
    notices: int
    cause_changes: Sequence[tuple[str, Sequence[str]]]
    """Causes in their order, at each day on which they changed."""
    refused: int

    @property
    def sound_years(self) -> float:
        history = self.history
        if history.truth is None:
            return history.years
        return (history.truth.since - history.commissioned_on).days / 365.25


def run(set_name: str, histories: Sequence[History]) -> list[Outcome]:
    """Send some histories to one company and score them."""
    fault_set = SETS[set_name]
    lives = Desk(histories, fault_set.items).live()
    return [_outcome(history, days, fault_set) for history, days in zip(histories, lives, strict=True)]


def _outcome(history: History, days: Sequence[Day], fault_set: FaultSet) -> Outcome:
    scored = score(history, days, fault_set.words) if history.truth else None
    return Outcome(
        history,
        scored,
        wrong_findings(history, days, fault_set.words),
        notices(days),
        _changes(days),
        sum(len(day.refused) for day in days),
    )


def _changes(days: Iterable[Day]) -> list[tuple[str, Sequence[str]]]:
    changes: list[tuple[str, Sequence[str]]] = []
    for day in days:
        causes = [finding.cause for finding in day.findings] + [f"(flag {flag})" for flag in day.flags]
        if not changes or changes[-1][1] != causes:
            changes.append((day.day.isoformat(), causes))
    return changes


def word(scored: Score) -> str:
    """One cell of the table."""
    if not scored.place:
        return "missed"
    name = "first" if scored.place == 1 else "later"
    return f"{name} {scored.days_to_found:+}{'' if scored.is_still_said else ' closed'}"


def fault_table(outcomes: Sequence[Outcome], fault_set: FaultSet) -> str:
    """A line for each fault, a column for each variant."""
    cells: dict[str, dict[str, str]] = defaultdict(dict)
    for outcome in outcomes:
        assert outcome.history.truth
        assert outcome.score
        cell = cells[outcome.history.truth.fault]
        before = cell.get(outcome.history.variant)
        cell[outcome.history.variant] = f"{before}, {word(outcome.score)}" if before else word(outcome.score)
    variants = fault_set.variants
    lines = [f"| fault | severity | {' | '.join(variants)} |", "| -- " * (2 + len(variants)) + "|"]
    lines += [
        f"| {fault} | {fault_set.severities[fault]} | {' | '.join(row.get(variant, '') for variant in variants)} |"
        for fault, row in cells.items()
    ]
    return "\n".join(lines)


def summary(outcomes: Sequence[Outcome], fault_set: FaultSet) -> str:
    """Counts and days, by variant, by severity and over all."""
    lines = [
        "| histories | | first | later | missed | kept | days, median | days, 90 % |",
        "| -- | --: | --: | --: | --: | --: | --: | --: |",
    ]
    groups: dict[str, list[Score]] = defaultdict(list)
    for outcome in outcomes:
        assert outcome.history.truth
        assert outcome.score
        for name in (outcome.history.variant, outcome.history.truth.severity, "all"):
            groups[name].append(outcome.score)
    for name in (*fault_set.variants, "severe", "moderate", "minor", "all"):
        scores = groups.get(name, [])
        if not scores:
            continue
        found_scores = [each for each in scores if each.place]
        waits = sorted(each.days_to_found or 0 for each in found_scores)
        first = sum(each.place == 1 for each in found_scores)
        kept_share = (
            f"{sum(each.is_still_said for each in found_scores) / len(found_scores):.0%}" if found_scores else ""
        )
        days = f"{statistics.median(waits):.0f} | {waits[int(0.9 * (len(waits) - 1))]}" if waits else " | "
        counts = f"{first} | {len(found_scores) - first} | {len(scores) - len(found_scores)}"
        lines.append(f"| {name} | {len(scores)} | {counts} | {kept_share} | {days} |")
    return "\n".join(lines)


def wrong_table(outcomes: Sequence[Outcome], *, title: str) -> str:
    """Wrong findings by cause, for each year of a sound unit."""
    years = sum(outcome.sound_years for outcome in outcomes)
    causes = Counter((each.cause, each.title) for outcome in outcomes for each in outcome.wrong)
    units = Counter(row for outcome in outcomes for row in {(each.cause, each.title) for each in outcome.wrong})
    wronged = sum(bool(outcome.wrong) for outcome in outcomes)
    old = [outcome for outcome in outcomes if outcome.history.years > 2]
    old_wronged = sum(bool(outcome.wrong) for outcome in old)
    said_notices = sum(outcome.notices for outcome in outcomes)
    lines = [
        f"{title}: {len(outcomes)} units, {years:.0f} unit-years, {len(old)} of them older than two years",
        f"with a wrong finding at any time: {wronged} ({wronged / len(outcomes):.1%}), {old_wronged} of them old",
    ]
    if not years:
        # Faults of the first day: nothing stood before them.
        return "\n".join(lines)
    lines += [
        f"a unit-year: {causes.total() / years:.2f} wrong, {said_notices / years:.2f} notices that all is well",
        "",
        "| what was found | cause | findings | units | a unit-year |",
        "| -- | -- | --: | --: | --: |",
    ]
    lines += [
        f"| {name} | {cause} | {count} | {units[cause, name]} | {count / years:.3f} |"
        for (cause, name), count in causes.most_common()
    ]
    return "\n".join(lines)


def listing(outcomes: Sequence[Outcome]) -> str:
    """What was said of every fault that was not found first, and of every sound unit that was found ill."""
    lines = []
    for outcome in outcomes:
        truth = outcome.history.truth
        if truth and outcome.score and (outcome.score.place != 1 or not outcome.score.is_still_said):
            lines.append(f"{outcome.history.name}: {word(outcome.score)}; {truth.told}")
            lines.append(f"  since {truth.since}, knowable {truth.knowable_on}, right: {', '.join(truth.accepted)}")
            since = [change for change in outcome.cause_changes if change[0] >= truth.since.isoformat()]
            lines += [f"  {day} {', '.join(causes) or '-'}" for day, causes in since]
        lines += [f"{outcome.history.name}: wrong on {each.on}: {each.title} ({each.cause})" for each in outcome.wrong]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--set", choices=SETS, default="histories", help="whose histories")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--healthy", type=int, help="how many sound units; 0 for none")
    parser.add_argument("--only", default="", help="histories whose name holds this text")
    parser.add_argument("--every", type=int, default=1, help="take every so manyth of them, for a quick look")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--list", action="store_true")
    options = parser.parse_args()
    begun = time.perf_counter()
    fault_set = SETS[options.set]
    sound_count = fault_set.sound_count if options.healthy is None else options.healthy
    histories = [*fault_set.ill(options.seed), *fault_set.sound(options.seed, sound_count)]
    histories = [history for history in histories if options.only in history.name][:: options.every]
    with ProcessPoolExecutor(
        options.processes, mp_context=get_context("spawn"), initializer=fault_product.start
    ) as pool:
        # A company for each process; every so manyth history, so that they take alike long.
        shares = [histories[number :: options.processes] for number in range(options.processes)]
        outcomes = [outcome for share in pool.map(partial(run, options.set), filter(None, shares)) for outcome in share]
    outcomes.sort(key=lambda outcome: outcome.history.name)
    ill = [outcome for outcome in outcomes if outcome.history.truth]
    sound = [outcome for outcome in outcomes if not outcome.history.truth]
    if ill:
        print(fault_table(ill, fault_set), summary(ill, fault_set), sep="\n\n", end="\n\n")
        print(wrong_table(ill, title="Before their fault"), end="\n\n")
    if sound:
        print(wrong_table(sound, title="Sound units"), end="\n\n")
    if options.list:
        print(listing(outcomes), end="\n\n")
    print(
        f"{len(outcomes)} histories of seed {options.seed}, {sum(len(o.history.rows) for o in outcomes)} rows, "
        f"{sum(o.refused for o in outcomes)} faults in refused rows, {time.perf_counter() - begun:.0f} s"
    )


if __name__ == "__main__":
    main()
