"""Findings open when the newest readings show a pattern, stay while they do, and close when it is gone."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any, Final

from django.db import transaction

from accounts.day_alone import DayAlone
from accounts.many_rows import update_rows
from accounts.models import Company
from fleet.engineering.diagnosis import RULES
from fleet.models import Finding, Unit
from fleet.services import words
from fleet.services.events_out import findings_opened
from fleet.services.findings.decisions import decide
from fleet.services.findings.facts import History, load_history
from fleet.services.findings.patterns import RECENT, Pattern, position_of, unit_patterns
from fleet.services.findings.readings import readings_that_bear
from fleet.services.forecasts.tables import list_units_in_use
from fleet.services.reviews import Review, keep_findings_reviewed

__all__ = ["RECENT", "decide", "refresh_findings"]

BLOCK_UNITS: Final = 400
Progress = Callable[[float, str], object]

_FIELDS: Final = (
    "rule",
    "position_id",
    "reading_id",
    "confidence",
    "numbers",
    "last_seen_at",
    "confirming_check",
    "action",
    "caution",
    "installer_sentence",
    "client_sentence",
)


def refresh_findings(
    *,
    company: Company,
    now: datetime,
    units: Iterable[int] | None = None,
    progress: Progress | None = None,
    review: Review | None = None,
) -> dict[str, int]:
    """Bring the findings of a company up to date; a second run on the same day and data changes nothing.

    For every rule the newest reading that can answer it decides, as long as no cartridge it speaks of was changed
    since; whether the lag resin holds is taken from the newest product that was read. A finding that was dismissed does
    not come back while its pattern lasts.

    Parameters
    ----------
    units
        Ids of the units to look at; all in service when None.
    progress
        Called with the share done and what is being done.
    review
        Look at the units it says, and keep for the next time what was seen; the rows are the same.

    Returns
    -------
    dict
        Counts: units (that were looked at), opened, refreshed, closed, present (at these).
    """
    day = company.day_at(now)
    ids = list_units_in_use(company, day)
    wanted_units = None if units is None else set(units)
    if wanted_units is not None:
        ids = [pk for pk in ids if pk in wanted_units]
    _close_retired(company, day, now, wanted_units)
    marks = {} if review is None else review.news_for_findings(ids, now)
    if review is not None:
        _see_again(company, sorted(set(ids).difference(marks)), now)
        ids = [pk for pk in ids if pk in marks]
    counts: Counter[str] = Counter(units=len(ids), opened=0, refreshed=0, closed=0, present=0)
    for start in range(0, len(ids), BLOCK_UNITS):
        if progress is not None:
            progress(start / len(ids), words.looking_for_patterns())
        block = ids[start : start + BLOCK_UNITS]
        history = load_history(company, block, readings_that_bear(company, block, now, RECENT))
        found_by_unit = {unit_id: unit_patterns(history, unit_id, now) for unit_id in block}
        patterns_by_unit = {unit_id: found.patterns for unit_id, found in found_by_unit.items()}
        counts.update(_store(company, history, patterns_by_unit, now))
        if review is not None:
            again_at = {unit_id: found.again_at for unit_id, found in found_by_unit.items()}
            keep_findings_reviewed(company, {pk: marks[pk] for pk in block}, again_at, now)
    if progress is not None:
        progress(1.0, words.findings_stored())
    return dict(counts)


def _see_again(company: Company, units: Sequence[int], now: datetime) -> None:
    """What is found of a unit as a whole is seen anew each day, also where nothing is news."""
    day, today = _today(company, now)
    rows = Finding.objects.filter(
        rule__in=[rule.id for rule in RULES if rule.is_of_whole_unit], reading__isnull=True, closed_at__isnull=True
    ).exclude(last_seen_on=day)
    for start in range(0, len(units), BLOCK_UNITS):
        block = rows.filter(unit_id__in=units[start : start + BLOCK_UNITS])
        block.update(last_seen_on=day, last_seen_at=today)


def _today(company: Company, now: datetime) -> tuple[date, DayAlone]:
    """The company's day, and the day as what is seen without an hour is kept."""
    day = company.day_at(now)
    return day, DayAlone.of(day, datetime.combine(day, time(), tzinfo=company.zone))


def _close_retired(company: Company, day: date, now: datetime, units: Iterable[int] | None) -> None:
    """A unit that is gone has nothing wrong any more."""
    gone = Unit.objects.of_company(company).filter(Unit.is_retired_on(day))
    rows = Finding.objects.of_company(company).filter(unit__in=gone, state__in=Finding.LIVE)
    if units is not None:
        rows = rows.filter(unit__in=list(units))
    Finding.objects.filter(pk__in=rows.values("pk")).update(state=Finding.State.CLOSED, closed_at=now)


def _store(
    company: Company, history: History, patterns_by_unit: Mapping[int, Sequence[Pattern]], now: datetime
) -> dict[str, int]:
    counts: Counter[str] = Counter(opened=0, refreshed=0, closed=0, present=0)
    with transaction.atomic():
        # The lock makes two runs for the same units follow one another, also when there is no finding to lock yet.
        # A unit that was deleted while it was looked at is no longer there to be locked.
        lock = Unit.objects.filter(pk__in=list(patterns_by_unit)).order_by("pk").select_for_update(no_key=True)
        present = set(lock.values_list("pk", flat=True))
        patterns_by_unit = {unit_id: patterns for unit_id, patterns in patterns_by_unit.items() if unit_id in present}
        stored: dict[tuple[int, str], Finding] = {
            (finding.unit_id, finding.cause): finding
            for finding in Finding.objects.of_company(company)
            .filter(unit_id__in=list(patterns_by_unit), closed_at__isnull=True)
            .exclude(state=Finding.State.CLOSED)
            .order_by("pk")
        }
        fresh, changed, vanished = [], [], dict(stored)
        for unit_id, patterns in patterns_by_unit.items():
            for cause, pattern in _by_cause(patterns).items():
                fields = _fields(company, history, unit_id, pattern, now)
                finding = vanished.pop((unit_id, cause), None)
                counts["present"] += 1
                if finding is None:
                    fresh.append(
                        Finding(unit_id=unit_id, cause=cause, state=Finding.State.OPEN, opened_at=now, **fields)
                    )
                elif any(getattr(finding, name) != fields[name] for name in _FIELDS):
                    for name in _FIELDS:
                        setattr(finding, name, fields[name])
                    changed.append(finding)
        for finding in vanished.values():
            finding.closed_at = now
            if finding.state != Finding.State.DISMISSED:
                finding.state = Finding.State.CLOSED
        Finding.objects.bulk_create(fresh)
        findings_opened(company.pk, fresh, now)
        update_rows(changed, [*_FIELDS, "last_seen_on"])
        update_rows(list(vanished.values()), ["state", "closed_at"])
    counts.update(opened=len(fresh), refreshed=len(changed), closed=len(vanished))
    return dict(counts)


def _by_cause(patterns: Sequence[Pattern]) -> dict[str, Pattern]:
    """The surest pattern for each cause."""
    strongest: dict[str, Pattern] = {}
    for pattern in patterns:
        cause = pattern.match.causes[0]
        if cause not in strongest or pattern.match.confidence > strongest[cause].match.confidence:
            strongest[cause] = pattern
    return strongest


def _fields(company: Company, history: History, unit_id: int, pattern: Pattern, now: datetime) -> dict[str, Any]:
    match, row = pattern.match, pattern.row
    rule = match.rule
    # A finding about the unit as a whole is seen anew each day, so that a second run on that day changes nothing.
    _, today = _today(company, now)
    return {
        "rule": rule.id,
        "position_id": position_of(history, unit_id, rule),
        "reading_id": int(history.table.ids[row]) if row is not None else None,
        "confidence": round(float(match.confidence), 3),
        "numbers": {name: _plain(value) for name, value in match.numbers.items()},
        "last_seen_at": history.table.taken_at[row] if row is not None else today,
        "confirming_check": match.confirming_check,
        "action": match.action,
        "caution": match.caution,
        "installer_sentence": match.for_installer,
        "client_sentence": match.for_client,
    }


def _plain(value: float | str) -> float | str:
    return value if isinstance(value, str) else float(f"{float(value):.4g}")
