"""Which patterns stand at a unit: rule by rule, by the newest reading that can answer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import cache
from itertools import count
from typing import Final

from fleet.engineering.diagnosis import RULES, Match, Rule, Work, diagnose
from fleet.engineering.observations import OBSERVATION_MEANINGS
from fleet.engineering.usual import SAME_VISIT_DAYS
from fleet.models import Position, Stage
from fleet.models.readings import CLOCK_SLACK
from fleet.services.findings.facts import History, context_of_row, is_measured, names_of_row

RECENT: Final = timedelta(days=120)
"""Readings older than this open no finding and keep none open: what they showed may be mended. What a person saw and
calls for work stands until the work was done or somebody saw it gone: no gauge has to be read for it to go on."""

SEASON: Final = timedelta(days=30)
"""What the temperature of the water explained longer ago, it does not explain today (common practice, no source)."""

_PRODUCT: Final = "product_tds_mg_per_l"


@dataclass(frozen=True)
class Pattern:
    """A pattern that stands: the match and the row of the reading it rests on (None for the unit as a whole)."""

    match: Match
    row: int | None


@dataclass(frozen=True)
class UnitPatterns:
    """The patterns that stand at a unit, and from when on the passing of time alone may change them (None: never)."""

    patterns: Sequence[Pattern]
    again_at: datetime | None


def unit_patterns(history: History, unit_id: int, now: datetime) -> UnitPatterns:
    """What stands at a unit now, each pattern with the reading it rests on."""
    ends: list[datetime] = []
    patterns = _of_readings(history, unit_id, now, ends)
    patterns += _unread(history, unit_id, now, ends, work_was_seen=any(_was_seen(history, each) for each in patterns))
    return UnitPatterns(patterns, min(ends, default=None))


def patterns_of(history: History, unit_id: int, now: datetime) -> Sequence[Pattern]:
    """Patterns that stand at a unit now, each with the reading it rests on."""
    return unit_patterns(history, unit_id, now).patterns


def _of_readings(history: History, unit_id: int, now: datetime, ends: list[datetime]) -> list[Pattern]:
    """Patterns of readings; into `ends` go the moments at which one of the readings that decided loses its say."""
    rows = [row for row in history.rows_of(unit_id) if _counts(history, row, now) and _bears(history, row, now)]
    has_lag = (Stage.RESIN.value, Position.Role.LAG.value) in history.positions.get(unit_id, {})
    waiting = {rule: (rule.asks_behind_lag if has_lag else ()) or rule.asks for rule in RULES if rule.asks}
    limits = history.limits[unit_id]
    pending: dict[Rule, Pattern] = {}
    patterns: list[Pattern] = []
    product: float | None = None
    product_row: int | None = None
    for row in reversed(rows):
        if not waiting:
            break
        names = names_of_row(history, row)
        is_recent = history.table.taken_at[row] >= now - RECENT
        if not is_recent:
            names &= OBSERVATION_MEANINGS.keys()
        answered = [rule for rule, asks in waiting.items() if any(names.issuperset(ask) for ask in asks)]
        if not is_recent:
            answered = [rule for rule in answered if isinstance(rule.causes[0].work, Work)]
        if not answered and (product is not None or _PRODUCT not in names):
            continue
        if is_recent:
            ends.append(history.table.taken_at[row] + RECENT)
        context = context_of_row(history, row)
        matches = {match.rule: match for match in diagnose(context, limits=limits)} if answered else {}
        if product is not None and any(rule.is_judged_by_newest_product for rule in answered):
            later = {match.rule: match for match in diagnose({**context, _PRODUCT: product}, limits=limits)}
            matches = {rule: match for rule, match in matches.items() if not rule.is_judged_by_newest_product} | {
                rule: match for rule, match in later.items() if rule.is_judged_by_newest_product
            }
        for rule in answered:
            match = matches.get(rule)
            if rule.must_be_seen_twice and match is not None and not match.is_clear:
                newest = pending.setdefault(rule, Pattern(match, row)).row
                # What is read before and after the work of one visit is one look.
                if newest is None or history.table.day[newest] - history.table.day[row] <= SAME_VISIT_DAYS:
                    continue
            del waiting[rule]
            if match is None or history.changed_since(row, rule.outdated_by):
                continue
            if rule.passes_with_season:
                if now - history.table.taken_at[row] > SEASON:
                    continue
                ends.append(history.table.taken_at[row] + SEASON)
            patterns.append(pending.get(rule, Pattern(match, row)))
        known_tds = context.get(_PRODUCT) if is_recent else None
        if product is None and isinstance(known_tds, float):
            product, product_row = known_tds, row
    if product_row is not None:
        unanswered = {
            rule
            for rule in waiting
            if rule.can_rest_on_product_alone and not history.changed_since(product_row, rule.outdated_by)
        }
        if unanswered:
            alone = diagnose(context_of_row(history, product_row), limits=limits)
            patterns += [Pattern(match, product_row) for match in alone if match.rule in unanswered]
    return patterns


def _counts(history: History, row: int, now: datetime) -> bool:
    return history.table.taken_at[row] <= now + CLOCK_SLACK


def _bears(history: History, row: int, now: datetime) -> bool:
    return history.table.taken_at[row] >= now - RECENT or bool(history.table.columns["observations"][row])


def _was_seen(history: History, pattern: Pattern) -> bool:
    """Whether it is what a person saw, and calls for work."""
    rule, row = pattern.match.rule, pattern.row
    if row is None or not isinstance(rule.causes[0].work, Work):
        return False
    seen = history.table.columns["observations"][row]
    return any(seen.keys() >= set(ask) for ask in rule.asks)


def _unread(
    history: History, unit_id: int, now: datetime, ends: list[datetime], *, work_was_seen: bool
) -> list[Pattern]:
    """Nobody has looked at the unit for long; counted from its commissioning where it was never read."""
    earlier_rows = (row for row in reversed(history.rows_of(unit_id)) if _counts(history, row, now))
    last_row = next((row for row in earlier_rows if is_measured(history, row)), None)
    if last_row is not None:
        last = history.table.taken_at[last_row]
    else:
        last = datetime.combine(history.facts[unit_id]["commissioned_on"], time(), tzinfo=now.tzinfo)
    weeks = max((now - last).days, 0) // 7
    patterns = _unread_for(weeks, never_read=last_row is None, work_was_seen=work_was_seen)
    # While it stands its weeks are counted; before, it waits for the first of them.
    ends.append(last + timedelta(weeks=weeks + 1 if patterns else max(_first_week_unread(), weeks + 1)))
    return patterns


def _unread_for(weeks: int, *, never_read: bool = False, work_was_seen: bool = False) -> list[Pattern]:
    context = {"weeks_since_last_reading": float(weeks), "never_read": never_read, "work_was_seen": work_was_seen}
    matches = diagnose(context)
    return [Pattern(match, None) for match in matches if match.rule.is_of_whole_unit]


@cache
def _first_week_unread() -> int:
    """After how many weeks a unit counts as not read."""
    return next(weeks for weeks in count() if _unread_for(weeks))


def position_of(history: History, unit_id: int, rule: Rule) -> int | None:
    """The position of the unit a finding names, where it is about one."""
    if rule.place is None:
        return None
    positions = history.positions.get(unit_id, {})
    by_role = (positions.get((rule.place.stage, role)) for role in rule.place.roles)
    return next((position for position in by_role if position is not None), None)
