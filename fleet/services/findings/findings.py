"""Findings open when the newest readings show a pattern, stay while they do, and close when it is gone."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, Final

from django.db import transaction

from accounts.models import Company
from fleet.engineering.diagnosis import RULES, Match, diagnose
from fleet.models import Finding, Position, Stage, Unit
from fleet.services.findings.decisions import decide
from fleet.services.findings.facts import History, context_of_row, load_history, names_of_row
from fleet.services.findings.readings import readings_that_bear
from fleet.services.forecasts.tables import list_units_in_use

__all__ = ["decide", "refresh_findings"]

BLOCK_UNITS: Final = 400
LOOK_BACK: Final = timedelta(days=120)
"""Readings older than this open no finding and keep none open: what was seen then may be mended."""

SEASON: Final = timedelta(days=30)
"""What the temperature of the water explained longer ago, it does not explain today (common practice, no source)."""

Progress = Callable[[float, str], object]

# What a rule must see in a reading to say yes or no; a reading without it leaves the verdict to an older one. One of
# the alternatives is enough.
_ASKS: Final[Mapping[str, tuple[tuple[str, ...], ...]]] = {
    "D01": (
        ("line_pressure_kpa", "prefilter_outlet_pressure_kpa"),
        ("line_pressure_kpa", "inlet_pressure_kpa"),
    ),
    "D02": (("line_pressure_kpa",), ("static_inlet_pressure_kpa",)),
    "D42": (("line_pressure_kpa",),),
    "D03": (("inlet_pressure_kpa",),),
    "D04": (("inlet_pressure_kpa",),),
    "D11": (("permeate_tds_mg_per_l", "interstage_tds_mg_per_l"),),
    "D12": (("permeate_tds_mg_per_l", "product_tds_mg_per_l"), ("product_tds_mg_per_l",)),
    "D13": (("permeate_tds_mg_per_l", "interstage_tds_mg_per_l"), ("permeate_tds_mg_per_l", "product_tds_mg_per_l")),
    "D14": (("permeate_tds_at_start_mg_per_l", "permeate_tds_mg_per_l"),),
    "D15": (("feed_tds_mg_per_l", "permeate_tds_mg_per_l"),),
    "D18": (("feed_tds_mg_per_l", "permeate_tds_mg_per_l"),),
    "D19": (("feed_tds_mg_per_l", "permeate_tds_mg_per_l"),),
    "D20": (("permeate_flow_l_per_day",), ("totaliser_l",)),
    "D21": (("tank_is_full", "concentrate_flow_l_per_day"),),
    "D22": (("tank_pressure_kpa",),),
    "D23": (("tank_pressure_kpa",),),
    "D30": (("carbon_outlet_total_chlorine_mg_per_l",),),
    "D31": (("carbon_outlet_total_chlorine_mg_per_l",), ("carbon_outlet_free_chlorine_mg_per_l",)),
    "D32": (("permeate_tds_mg_per_l", "product_tds_mg_per_l"),),
    "D34": (("product_tds_mg_per_l",),),
    "D35": (("product_ph",),),
    "D36": (("salt_balance_closure_fraction",),),
    "D43": (("carbon_outlet_total_chlorine_mg_per_l",), ("feed_total_chlorine_mg_per_l",)),
    "D45": (
        ("interstage_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l"),
        ("interstage_chlorine_mg_per_l", "feed_free_chlorine_mg_per_l"),
    ),
    "D46": (("feed_tds_mg_per_l", "permeate_tds_mg_per_l"),),
    "D44": (("carbon_outlet_total_chlorine_mg_per_l",), ("carbon_outlet_free_chlorine_mg_per_l",)),
}
_FLOWS: Final = (("permeate_flow_l_per_day", "concentrate_flow_l_per_day"),)
_MEMBRANE: Final = (("normalised_flow_ratio", "normalised_salt_passage_ratio"),)
_BY_STEP: Final = {"flows": _FLOWS, "membrane": _MEMBRANE}

# A cartridge of these stages placed after a reading makes what it showed history.
_STAGES: Final[Mapping[str, tuple[str, ...]]] = {
    "D01": (Stage.SEDIMENT.value, Stage.CARBON.value),
    **dict.fromkeys(("D05", "D06", "D07", "D08", "D09", "D10", "D28", "D46"), (Stage.MEMBRANE.value,)),
    **dict.fromkeys(("D11", "D12", "D13", "D32", "D34"), (Stage.RESIN.value,)),
    **dict.fromkeys(("D30", "D31", "D44", "D45"), (Stage.CARBON.value,)),
}
_ROLES: Final = {
    Stage.RESIN.value: (Position.Role.LEAD.value, Position.Role.SINGLE.value),
    Stage.CARBON.value: (Position.Role.LAG.value, Position.Role.SINGLE.value),
}

_ROLES_OF_RULE: Final[Mapping[str, tuple[str, ...]]] = {"D45": (Position.Role.LEAD.value,)}

_UNREAD: Final = "D41"
_PRODUCT: Final = "product_tds_mg_per_l"
# What the lag lets through decides between them, and may have been read since without the rest.
_OF_BOTH_RESINS: Final = frozenset({"D11", "D12", "D13"})
_LEAD_EXHAUSTED: Final = "D11"
# Rules that a stored reading can answer. The others ask for what no reading holds (a taste, a second meter), or speak
# of the reading and not of the unit (D38, which intake flags).
_ANSWERABLE: Final[Mapping[str, tuple[tuple[str, ...], ...]]] = {
    rule.id: asks for rule in RULES if (asks := _ASKS.get(rule.id, _BY_STEP.get(rule.step, ())))
}
# The reading and the forecast of the lag may differ: the meter sees ions only, and age and carbon dioxide count too.
_WITHOUT_LAG: Final = (
    "The lead outlet reads as the permeate, and by its own forecast the lag is due as well: rotating would put a spent "
    "cartridge in the lead, so change both."
)
_BOTH_FOR_CLIENT: Final = (
    "The first polishing cartridge is used up, and by our estimate the second is due as well; we will change both."
)
_CHANGE_BOTH: Final = (
    "Replace both cartridges. Read the product first: where it is still good the forecast was too early, and rotating "
    "is enough."
)
# Cold and warm water, which go by with the season.
_SEASONAL: Final = frozenset({"D24", "D37"})
# One exchanged pair is a slip of the pen; probes that are swapped show it again.
_SEEN_TWICE: Final = frozenset({"D18"})
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


@dataclass(frozen=True)
class _Pattern:
    """A pattern that stands: the match and the row of the reading it rests on (None for the unit as a whole)."""

    match: Match
    row: int | None


def refresh_findings(
    *, company: Company, now: datetime, units: Iterable[int] | None = None, progress: Progress | None = None
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

    Returns
    -------
    dict
        Counts: units, opened, refreshed, closed, standing.
    """
    day = company.day_at(now)
    ids = list_units_in_use(company, day)
    wanted_units = None if units is None else set(units)
    if wanted_units is not None:
        ids = [pk for pk in ids if pk in wanted_units]
    _close_retired(company, day, now, wanted_units)
    counts: Counter[str] = Counter(units=len(ids), opened=0, refreshed=0, closed=0, standing=0)
    for start in range(0, len(ids), BLOCK_UNITS):
        if progress is not None:
            progress(start / len(ids), "looking for patterns in the readings")
        block = ids[start : start + BLOCK_UNITS]
        history = load_history(company, block, readings_that_bear(company, block, now, LOOK_BACK))
        patterns_by_unit = {unit_id: _patterns_of(history, unit_id, now) for unit_id in block}
        counts.update(_store(company, history, patterns_by_unit, now))
    if progress is not None:
        progress(1.0, "findings stored")
    return dict(counts)


def _close_retired(company: Company, day: date, now: datetime, units: Iterable[int] | None) -> None:
    """A unit that is gone has nothing wrong any more."""
    rows = Finding.objects.of_company(company).filter(unit__retired_on__lt=day, state__in=Finding.LIVE)
    if units is not None:
        rows = rows.filter(unit__in=list(units))
    Finding.objects.filter(pk__in=rows.values("pk")).update(state=Finding.State.CLOSED, closed_at=now)


def _patterns_of(history: History, unit_id: int, now: datetime) -> list[_Pattern]:
    """Patterns that stand at a unit: rule by rule, by the newest reading that can answer."""
    rows = [row for row in history.rows_of(unit_id) if now - LOOK_BACK <= history.table.taken_at[row] <= now]
    waiting = dict(_ANSWERABLE)
    if (Stage.RESIN.value, Position.Role.LAG.value) in history.positions.get(unit_id, {}):
        # Behind a lag the product says nothing of the lead.
        waiting["D13"] = waiting["D13"][:1]
        # What the two let through is best told beside the permeate; the newest product decides, once that was read.
        waiting["D12"] = waiting["D12"][:1]
    limits = history.limits[unit_id]
    pending: dict[str, _Pattern] = {}
    patterns: list[_Pattern] = []
    product: float | None = None
    product_row: int | None = None
    for row in reversed(rows):
        if not waiting:
            break
        names = names_of_row(history, row)
        answered = [rule_id for rule_id, asks in waiting.items() if any(names.issuperset(ask) for ask in asks)]
        if not answered and _PRODUCT not in names:
            continue
        context = context_of_row(history, row)
        matches = {match.id: match for match in diagnose(context, limits=limits)} if answered else {}
        if product is not None and not _OF_BOTH_RESINS.isdisjoint(answered):
            later = {match.id: match for match in diagnose({**context, _PRODUCT: product}, limits=limits)}
            matches = {key: match for key, match in matches.items() if key not in _OF_BOTH_RESINS} | {
                key: match for key, match in later.items() if key in _OF_BOTH_RESINS
            }
        for rule_id in answered:
            match = matches.get(rule_id)
            if rule_id in _SEEN_TWICE and match is not None and rule_id not in pending:
                pending[rule_id] = _Pattern(match, row)
                continue
            del waiting[rule_id]
            if match is None or history.changed_since(row, _STAGES.get(rule_id, ())):
                continue
            if rule_id in _SEASONAL and now - history.table.taken_at[row] > SEASON:
                continue
            patterns.append(pending.get(rule_id, _Pattern(match, row)))
        known_tds = context.get(_PRODUCT)
        if product is None and isinstance(known_tds, float):
            product, product_row = known_tds, row
    if "D12" in waiting and product_row is not None and not history.changed_since(product_row, _STAGES["D12"]):
        alone = diagnose(context_of_row(history, product_row), limits=limits)
        patterns += [_Pattern(match, product_row) for match in alone if match.id == "D12"]
    return [*patterns, *_unread(history, unit_id, now)]


def _unread(history: History, unit_id: int, now: datetime) -> list[_Pattern]:
    """Nobody has looked at the unit for long; counted from its commissioning where it was never read."""
    rows = [row for row in history.rows_of(unit_id) if history.table.taken_at[row] <= now]
    if rows:
        last = history.table.taken_at[rows[-1]]
    else:
        last = datetime.combine(history.facts[unit_id]["commissioned_on"], time(), tzinfo=now.tzinfo)
    weeks = float((now - last).days // 7)
    return [_Pattern(match, None) for match in diagnose({"weeks_since_last_reading": weeks}) if match.id == _UNREAD]


def _store(
    company: Company, history: History, patterns_by_unit: Mapping[int, Sequence[_Pattern]], now: datetime
) -> dict[str, int]:
    counts: Counter[str] = Counter(opened=0, refreshed=0, closed=0, standing=0)
    with transaction.atomic():
        # The lock makes two runs for the same units follow one another, also when there is no finding to lock yet.
        lock = Unit.objects.filter(pk__in=list(patterns_by_unit)).order_by("pk").select_for_update(no_key=True)
        list(lock.values_list("pk"))
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
                counts["standing"] += 1
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
        names = [name.removesuffix("_id") for name in _FIELDS]
        Finding.objects.bulk_update(changed, names, batch_size=100)
        Finding.objects.bulk_update(list(vanished.values()), ["state", "closed_at"], batch_size=100)
    counts.update(opened=len(fresh), refreshed=len(changed), closed=len(vanished))
    return dict(counts)


def _by_cause(patterns: Sequence[_Pattern]) -> dict[str, _Pattern]:
    """The surest pattern for each cause."""
    strongest: dict[str, _Pattern] = {}
    for pattern in patterns:
        cause = pattern.match.causes[0]
        if cause not in strongest or pattern.match.confidence > strongest[cause].match.confidence:
            strongest[cause] = pattern
    return strongest


def _fields(company: Company, history: History, unit_id: int, pattern: _Pattern, now: datetime) -> dict[str, Any]:
    match, row = pattern.match, pattern.row
    rule = match.rule
    # A finding about the unit as a whole is seen anew each day, so that a second run on that day changes nothing.
    today = datetime.combine(company.day_at(now), time(), tzinfo=company.zone)
    fields = {
        "rule": rule.id,
        "position_id": _position(history, unit_id, rule.id, rule.step),
        "reading_id": int(history.table.ids[row]) if row is not None else None,
        "confidence": round(float(match.confidence), 3),
        "numbers": {name: _plain(value) for name, value in match.numbers.items()},
        "last_seen_at": history.table.taken_at[row] if row is not None else today,
        "confirming_check": rule.confirm,
        "action": match.action,
        "caution": rule.caution,
        "installer_sentence": match.for_installer,
        "client_sentence": match.for_client,
    }
    if rule.id == _LEAD_EXHAUSTED and unit_id in history.lag_resin_exhausted:
        fields["installer_sentence"], fields["client_sentence"] = _WITHOUT_LAG, _BOTH_FOR_CLIENT
        fields["action"] = _CHANGE_BOTH
    return fields


def _plain(value: float | str) -> float | str:
    return value if isinstance(value, str) else float(f"{float(value):.4g}")


def _position(history: History, unit_id: int, rule_id: str, step: str) -> int | None:
    """The place in the train a finding speaks of, where it is one."""
    stages = _STAGES.get(rule_id) or ((Stage.MEMBRANE.value,) if step == "membrane" else ())
    if not stages:
        return None
    places = history.positions.get(unit_id, {})
    roles = _ROLES.get(stages[0], (Position.Role.SINGLE.value,))
    for role in _ROLES_OF_RULE.get(rule_id, roles):
        if (stages[0], role) in places:
            return places[stages[0], role]
    return None
