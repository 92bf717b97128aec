"""Indicators of readings: computed for many readings at once, stored where they changed."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from django.db import transaction
from django.db.models import Q

from accounts.models import Company
from fleet.engineering.indicators import QUANTITIES, Indicators, UnitContext, baseline_of_groups, indicators, reasons
from fleet.engineering.usual import FIRST_WEEKS_DAYS
from fleet.models import Placement, Reading, ReadingIndicators, Stage, Unit
from fleet.models.corrections import corrects_this
from fleet.services import words
from fleet.services.readings.indicator_meters import of_rows
from fleet.services.readings.tables import (
    Floats,
    Indexes,
    PlacementTable,
    ReadingTable,
    load_placements,
    load_readings,
    placement_of_each,
    unit_facts,
)
from fleet.services.reviews import Review, keep_indicators_reviewed

BLOCK_UNITS: Final = 400

Progress = Callable[[float, str], object]

LABEL: Final = (
    "rated_flow_l_per_day",
    "rated_pressure_kpa",
    "rated_temperature_degc",
    "rated_tds_mg_per_l",
    "rated_recovery_fraction",
    "rejection_fraction",
    "water_u_kelvin",
)
UNIT_FIELDS: Final = ("design_recovery_fraction", "has_booster_pump", "tank", "restrictor_flow_l_per_day")
_WRITE_AT_ONCE: Final = 500
_FEW_UNITS: Final = 20
# Longer than the days after fitting in which a baseline is taken.
_BASELINE_SPAN: Final = timedelta(days=FIRST_WEEKS_DAYS + 1)


@dataclass(frozen=True)
class Baselines:
    """What each reading is compared with: the first readings of its membrane after running-in. NaN where there is none.

    One value a reading, by quantity, and of the normalised flow and salt passage.
    """

    of_quantity: Mapping[str, Floats]
    flow_l_per_day: Floats
    salt_passage_fraction: Floats


@dataclass(frozen=True)
class Computed:
    """What engineering makes of readings, and what it was made from.

    `membrane` is the row of each reading's membrane among the placements, -1 for none.
    """

    indicators: Indicators
    baselines: Baselines
    membrane: Indexes
    columns: Mapping[str, Any]
    context: UnitContext


def recompute(
    *,
    company: Company,
    now: datetime,
    units: Iterable[int] | None = None,
    since: datetime | None = None,
    of_meters: bool = False,
    progress: Progress | None = None,
    review: Review | None = None,
) -> dict[str, int]:
    """Bring the indicators of a company's readings up to date; a second run changes nothing.

    Parameters
    ----------
    now
        The clock, noted with the indicators that changed.
    units
        Ids of the units whose readings to look at; all when None.
    since
        Look at readings from this moment on only; what they are compared with is read all the same.
    of_meters
        Work out how well each indicator is known as well where its value stays: a meter was changed.
    progress
        Called with the share done and what is being done.
    review
        Look at the units it says, and keep for the next time what was seen; the rows are the same.

    Returns
    -------
    dict
        Counts of readings (that were looked at), of these changed, unchanged.
    """
    rows = Unit.objects.of_company(company).order_by("pk")
    if units is not None:
        rows = rows.filter(pk__in=list(units))
    ids = list(rows.values_list("pk", flat=True))
    marks = {} if review is None else review.news_for_indicators(ids)
    if review is not None:
        ids = [pk for pk in ids if pk in marks]
    counts: Counter[str] = Counter(readings=0, changed=0, unchanged=0)
    for start in range(0, len(ids), BLOCK_UNITS):
        if progress is not None:
            progress(start / len(ids), words.computing_indicators())
        block = ids[start : start + BLOCK_UNITS]
        counts.update(_recompute_block(company, block, now, since, of_meters))
        if review is not None:
            keep_indicators_reviewed({pk: marks[pk] for pk in block})
    if progress is not None:
        progress(1.0, words.indicators_stored())
    return dict(counts)


def compute(company: Company, unit_ids: Sequence[int], table: ReadingTable) -> Computed:
    """Indicators of readings with their baselines."""
    facts = unit_facts(company, unit_ids, UNIT_FIELDS)
    return compute_of(table, facts, load_placements(company, unit_ids, (Stage.MEMBRANE,), LABEL)[Stage.MEMBRANE])


def compute_of(table: ReadingTable, facts: Mapping[int, Mapping[str, Any]], membranes: PlacementTable) -> Computed:
    """The same, where the units' `UNIT_FIELDS` and the membranes with their `LABEL` are at hand.

    Two passes: the first finds which readings may count, the second refers them to the condition of the unit's own
    baseline, so that the corrections stay small.
    """
    membrane = placement_of_each(table.unit_ids, table.day, membranes)
    columns = _columns(table)
    plain = _context(table, facts, membranes, membrane)
    first = indicators(columns, plain)
    groups = len(membranes)
    age = np.full(len(table), np.nan)
    some = membrane >= 0
    age[some] = table.day[some] - membranes.placed_day[membrane[some]]

    def baseline(values: Floats, valid: Any) -> Floats:
        baseline = np.full(groups + 1, np.nan)
        if groups:
            baseline[:groups] = baseline_of_groups(
                membrane[some], age[some], values[some], np.asarray(valid)[some], groups=groups
            )
        return baseline[membrane]

    names = [name for name in QUANTITIES if name != "minutes_since_start"]
    quantities = {name: baseline(table.columns[name], first.valid_for_trend) for name in names}
    recovery = baseline(first.values["recovery_fraction"], first.valid_for_trend)
    standard = _at_standard(plain, quantities, recovery)
    second = indicators(columns, standard)
    flow = baseline(second.values["normalised_permeate_flow_l_per_day"], second.valid_for_trend)
    passage = baseline(second.values["normalised_salt_passage_fraction"], second.valid_for_trend)
    own = replace(standard, baseline_normalised_flow_l_per_day=flow, baseline_normalised_salt_passage_fraction=passage)
    return Computed(indicators(columns, own), Baselines(quantities, flow, passage), membrane, columns, own)


def _columns(table: ReadingTable) -> dict[str, Any]:
    return {
        **{name: table.columns[name] for name in QUANTITIES},
        "state": table.columns["state"],
        "tank_valve": table.columns["tank_valve"],
        "pump": table.columns["pump"],
        "tank_is_full": _flags(table.columns["tank_is_full"]),
        "sampled_after_flush": _flags(table.columns["sampled_after_flush"]),
    }


def _flags(values: Sequence[bool | None]) -> Floats:
    return np.array([np.nan if value is None else float(value) for value in values], dtype=np.float64)


def _context(
    table: ReadingTable, facts: Mapping[int, Mapping[str, Any]], placements: PlacementTable, placement: Indexes
) -> UnitContext:
    of_unit = [facts[int(unit_id)] for unit_id in table.unit_ids]
    design = np.array([unit["design_recovery_fraction"] for unit in of_unit], dtype=np.float64)

    def label(name: str, default: float = np.nan) -> Floats:
        values = np.append(np.array(placements.items[name], dtype=np.float64), np.nan)[placement]
        return np.where(np.isnan(values), default, values)

    drain = np.array([unit["restrictor_flow_l_per_day"] for unit in of_unit], dtype=np.float64)
    rated = label("rated_flow_l_per_day")
    # The differential over the prefilters is brought to the feed flow the unit was set up for.
    reference = np.where(np.isnan(drain), rated / design, drain / (1.0 - design))
    return UnitContext(
        design_recovery_fraction=design,
        u_kelvin=label("water_u_kelvin"),
        rejection_fraction=label("rejection_fraction", 0.96),
        rated_flow_l_per_day=rated,
        rated_pressure_kpa=label("rated_pressure_kpa"),
        rated_temperature_degc=label("rated_temperature_degc"),
        rated_tds_mg_per_l=label("rated_tds_mg_per_l"),
        rated_recovery_fraction=label("rated_recovery_fraction"),
        has_pressurised_tank=np.array([unit["tank"] == Unit.Tank.PRESSURISED for unit in of_unit], dtype=bool),
        has_booster_pump=np.array([unit["has_booster_pump"] for unit in of_unit], dtype=bool),
        reference_feed_flow_l_per_day=reference,
    )


def _at_standard(context: UnitContext, quantities: Mapping[str, Floats], recovery: Floats) -> UnitContext:
    """Refer to the unit's own baseline condition where there is one."""

    def own(name: str, default: Any, low: float, high: float) -> Floats:
        values = quantities[name]
        usable = (values >= low) & (values <= high)
        return np.where(usable, values, np.asarray(default, dtype=np.float64))

    return replace(
        context,
        standard_inlet_pressure_kpa=own("inlet_pressure_kpa", context.standard_inlet_pressure_kpa, 150.0, 2000.0),
        standard_temperature_degc=own("temperature_degc", context.standard_temperature_degc, 2.0, 40.0),
        standard_feed_tds_mg_per_l=own("feed_tds_mg_per_l", context.standard_feed_tds_mg_per_l, 5.0, 3000.0),
        standard_permeate_tds_mg_per_l=own("permeate_tds_mg_per_l", context.standard_permeate_tds_mg_per_l, 0.0, 300.0),
        standard_recovery_fraction=np.where(
            (recovery > 0.02) & (recovery < 0.9), recovery, np.asarray(context.standard_recovery_fraction)
        ),
    )


def _recompute_block(
    company: Company, unit_ids: Sequence[int], now: datetime, since: datetime | None, of_meters: bool
) -> dict[str, int]:
    table = load_readings(company, unit_ids, condition=_bearing_on(company, unit_ids, since))
    computed = compute(company, unit_ids, table)
    rows = [row for row, at in enumerate(table.taken_at) if since is None or at >= since]
    fresh = {int(table.ids[row]): _row(computed.indicators, row) for row in rows}
    row_of = {int(table.ids[row]): row for row in rows}
    own_rows = ReadingIndicators.objects.filter(
        ~corrects_this(Reading, "reading_id"), reading__unit_id__in=list(unit_ids), reading__voided_at__isnull=True
    )
    if since is not None:
        own_rows = own_rows.filter(reading__taken_at__gte=since)
    with transaction.atomic():
        stored = {
            pk: computed
            for pk, *computed in own_rows.values_list("pk", "values", "reasons", "valid_for_trend", "uncertainties")
            if computed[-1] or not computed[0]
        }
        other = [
            pk for pk, computed in fresh.items() if of_meters or pk not in stored or stored[pk][:-1] != [*computed]
        ]
        uncertainties = of_rows(company, table, computed.columns, computed.context, [row_of[pk] for pk in other])
        changed = [
            ReadingIndicators(
                reading_id=pk,
                values=fresh[pk][0],
                uncertainties=of_it,
                reasons=fresh[pk][1],
                valid_for_trend=fresh[pk][2],
                computed_at=now,
            )
            for pk, of_it in zip(other, uncertainties, strict=True)
            if stored.get(pk) != [*fresh[pk], of_it]
        ]
        ReadingIndicators.objects.bulk_create(
            changed,
            update_conflicts=True,
            unique_fields=["reading"],
            update_fields=["values", "uncertainties", "reasons", "valid_for_trend", "computed_at"],
            batch_size=_WRITE_AT_ONCE,
        )
    return {"readings": len(fresh), "changed": len(changed), "unchanged": len(fresh) - len(changed)}


def _bearing_on(company: Company, unit_ids: Sequence[int], since: datetime | None) -> Q:
    """Readings from a moment on, and those that make the baselines of the membranes that stood then."""
    if since is None or len(unit_ids) > _FEW_UNITS:
        return Q()
    condition = Q(taken_at__gte=since)
    installed = Placement.objects.of_company(company).filter(
        Q(removed_at__isnull=True) | Q(removed_at__gte=since),
        position__unit_id__in=list(unit_ids),
        position__stage=Stage.MEMBRANE,
    )
    for unit_id, placed_at in installed.values_list("position__unit_id", "placed_at"):
        condition |= Q(unit_id=unit_id, taken_at__gte=placed_at, taken_at__lte=placed_at + _BASELINE_SPAN)
    return condition


def _row(indicators: Indicators, row: int) -> tuple[dict[str, float], dict[str, str], bool]:
    known_values, missing = indicators.row(row)
    values = {name: float(f"{value:.6g}") for name, value in known_values.items()}
    why = {name: reasons.sentence(code) for name, code in missing.items()}
    valid = bool(indicators.valid_for_trend[row])
    if not valid:
        why["trend"] = reasons.sentence(indicators.trend_reason_code(row))
    return values, why, valid
