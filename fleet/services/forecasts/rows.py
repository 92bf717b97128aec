"""From the arrays of a forecast to the fields that are stored: dates, evidence, sentences."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from accounts.language import gettext, gettext_noop
from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.engineering.nomenclature import without_unit
from fleet.forecasting.answer.explain import date_of, sentence_for_client, sentence_for_installer
from fleet.forecasting.answer.gauges import Gauges
from fleet.forecasting.answer.left_out import sentence_left_out
from fleet.forecasting.answer.reasons import explain_exhaustion
from fleet.forecasting.answer.results import Forecasts
from fleet.forecasting.distribution import SHOWN
from fleet.forecasting.inputs import vocabulary as words
from fleet.services.forecasts.tables import LoadedFleet

TENTHS: Final = 10
"""Stored dates count tenths of a day: finer than any of them is known."""

MOST_LISTED: Final = 12
"""Left-out values that are listed one by one, the newest; the number of all is stored beside them."""

PRIOR_SENTENCES: Final = {
    "nominal": gettext_noop("Nothing but the label and the load is known; the usual spread of labels is assumed."),
    "fleet": gettext_noop("What cartridges of this stage did across the company is taken as the start."),
    "own_past": gettext_noop(
        "What earlier cartridges in this place did is taken as the start, beside those across the company."
    ),
}

QUANTILES: Final = ("p05", "p10", "p25", "p50", "p75", "p90", "p95")
FRESH_LIFE: Final = ("fresh_life_p10_days", "fresh_life_p50_days", "fresh_life_p90_days")

_SHOWN: Final[list[int]] = SHOWN.tolist()

_FOR_ALL: Final = {"totaliser_l", ""}
"""Demand and the whole reading concern every position."""


@dataclass(frozen=True)
class _LeftOut:
    """One value of a reading that was not used."""

    reading: int
    day: float
    quantity: str
    code: str

    def as_evidence(self, reading_id: int, offset_days: float) -> dict[str, Any]:
        day = date_of(self.day, offset_days)
        return {
            "reading": reading_id,
            "day": day.isoformat(),
            "quantity": self.quantity,
            "code": self.code,
            "sentence": sentence_left_out(_plain(self.quantity), day, self.code),
        }


def forecast_rows(
    loaded: LoadedFleet,
    answer: Forecasts,
    *,
    wanted_units: Collection[int] | None,
    zone: ZoneInfo,
    marks: Mapping[int, str],
) -> dict[int, dict[str, Any]]:
    """Position id -> the fields of its forecast.

    Parameters
    ----------
    loaded, answer
        The fleet and its forecasts.
    wanted_units
        Ids of the units whose rows to make; all when None.
    zone
        Dates are days of this zone.
    marks
        Unit id -> mark of what its forecast is made from.
    """
    fleet = loaded.fleet
    tenths, as_of = date_tenths(answer.grid_day, answer.as_of_day, zone)
    offset = _offset_days(answer.as_of_day, zone)
    left_out = _left_out_by_unit(loaded, answer)
    gauges: Gauges | None = None
    placement_ids = fleet.placements.placement_id
    rows: dict[int, dict[str, Any]] = {}
    for row, position_id in enumerate(fleet.positions.position_id):
        unit_row = int(fleet.positions.unit_index[row])
        if wanted_units is not None and fleet.units.unit_id[unit_row] not in wanted_units:
            continue
        placement_index = int(answer.placement_index[row])
        grid = tenths[row]
        dates = [as_of + timedelta(days=grid[at] // TENTHS) for at in _SHOWN] if grid else [None] * len(_SHOWN)
        reason = None
        if answer.state[row] == words.EXHAUSTED_NOW:
            gauges = gauges or Gauges(fleet, answer.exclusions, loaded.limits)
            reason = explain_exhaustion(fleet, answer, gauges, row, loaded.limits, offset)
        placed = float(fleet.placements.placed_day[placement_index]) if placement_index >= 0 else np.inf
        evidence = _evidence(loaded, answer, row, left_out.get(unit_row, []), placed, offset)
        if reason is not None:
            evidence["exhausted_because"] = {
                "code": reason.code,
                "sentence": f"{reason.sentence[0].upper()}{reason.sentence[1:]}.",
                "reading": loaded.reading_ids[reason.reading_index] if reason.reading_index >= 0 else None,
            }
        rows[position_id] = {
            "placement_id": placement_ids[placement_index] if placement_index >= 0 else None,
            "state": words.STATES[answer.state[row]],
            "date_grid": grid,
            **dict(zip(QUANTILES, dates, strict=True)),
            "remaining_share": _number(answer.remaining_share[row], 4),
            **{name: _number(days, 1) for name, days in zip(FRESH_LIFE, answer.fresh_life_days[row], strict=True)},
            "daily_load": _number(answer.daily_load[row], 4),
            "daily_load_unit": words.LOAD_UNITS[answer.daily_load_unit[row]],
            "driver": words.DRIVERS[answer.driver[row]],
            "made_from": marks.get(fleet.units.unit_id[unit_row], ""),
            "evidence": evidence,
            "installer_sentence": sentence_for_installer(
                fleet,
                answer,
                row,
                reason.sentence if reason else "",
                offset,
                is_certain=reason is None or reason.is_certain,
                is_at_its_term=reason is not None and reason.is_at_its_term,
            ),
            "client_sentence": sentence_for_client(
                fleet,
                answer,
                row,
                reason.client_sentence if reason else "",
                offset,
                is_certain=reason is None or reason.is_certain,
                is_at_its_term=reason is not None and reason.is_at_its_term,
            ),
        }
    return rows


def date_tenths(grid_day: Any, as_of_day: float, zone: ZoneInfo) -> tuple[list[list[int]], date]:
    """Tenths of a day from the start of the forecast's day in a zone, row by row, empty where there is no date.

    The zone's offset on the day of the forecast serves for all dates.
    """
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=as_of_day)
    as_of = moment.astimezone(zone).date()
    start = (as_of - date(1970, 1, 1)).days
    local = np.asarray(grid_day) + _offset_days(as_of_day, zone) - start
    dated = ~np.isnan(local[:, 0])
    # Nothing is exhausted on a day that is over.
    counted = np.floor(np.maximum(np.where(dated[:, None], local, 0.0), 0.0) * TENTHS + 1e-6).astype(np.int64)
    return [row if is_dated else [] for row, is_dated in zip(counted.tolist(), dated.tolist(), strict=True)], as_of


def _offset_days(as_of_day: float, zone: ZoneInfo) -> float:
    """How far the clocks of a zone are ahead of UTC on the day of a forecast."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=as_of_day)
    return (moment.astimezone(zone).utcoffset() or timedelta()).total_seconds() / SECONDS_PER_DAY


def date_tenths_shown(grid: Any) -> list[float]:
    """The quantiles that are shown, `QUANTILES`, out of a whole distribution."""
    return [float(grid[at]) for at in _SHOWN]


def _evidence(
    loaded: LoadedFleet, answer: Forecasts, row: int, left_out: list[_LeftOut], placed_day: float, offset_days: float
) -> dict[str, Any]:
    stage = int(loaded.fleet.positions.stage[row])
    names = _FOR_ALL.union(words.STAGE_QUANTITIES[stage])
    own_values = [value for value in left_out if value.day >= placed_day and value.quantity in names]
    counts: dict[str, int] = {}
    for value in own_values:
        counts[value.code] = counts.get(value.code, 0) + 1
    prior = words.PRIORS[answer.priors[row]]
    return {
        "readings_used": int(answer.readings_used[row]),
        "newest_reading_age_days": _number(answer.newest_reading_age_days[row], 1),
        "readings_left_out": int(answer.readings_excluded[row]),
        "left_out_counts": counts,
        "left_out": [
            value.as_evidence(loaded.reading_ids[value.reading], offset_days) for value in own_values[-MOST_LISTED:]
        ],
        "earlier_cartridges": int(answer.past_lives[row]),
        "prior": {"code": prior, "sentence": gettext(PRIOR_SENTENCES[prior]), **_taught(answer, stage)},
        "probability_maximum_service_time_first": _number(answer.probability_maximum_service_time[row], 3),
        "no_date_reason": gettext(answer.no_date_reason[row]),
    }


_HYPER_OF_STAGE: Final = {
    words.SEDIMENT: "sediment",
    words.CARBON: "carbon",
    words.MEMBRANE: "membrane_flow",
    words.RESIN: "resin",
    **{stage: words.STAGES[stage] for stage in words.FINISHING_STAGES},
}


def _taught(answer: Forecasts, stage: int) -> dict[str, Any]:
    """What is assumed of capacity over label (of a membrane: of use until its limit over three years) before any
    reading."""
    hyper = answer.learned.hypers.get(_HYPER_OF_STAGE[stage])
    if hyper is None:
        return {}
    return {
        "usual_share_of_label": round(float(np.exp(hyper.mean)), 2),
        "spread_between_places": round(float(hyper.place_spread), 2),
        "spread_between_cartridges": round(float(hyper.cartridge_spread), 2),
        "places_that_taught": int(hyper.places),
    }


def _left_out_by_unit(loaded: LoadedFleet, answer: Forecasts) -> dict[int, list[_LeftOut]]:
    """Row of a unit -> values of its readings that were left out, in order of time."""
    fleet, exclusions = loaded.fleet, answer.exclusions
    day = fleet.readings.day[exclusions.reading_index]
    left_out: dict[int, list[_LeftOut]] = {}
    for at in np.argsort(day, kind="stable").tolist():
        reading = int(exclusions.reading_index[at])
        quantity = int(exclusions.quantity[at])
        left_out.setdefault(int(fleet.readings.unit_index[reading]), []).append(
            _LeftOut(
                reading,
                float(day[at]),
                words.QUANTITIES[quantity] if quantity >= 0 else "",
                words.EXCLUSION_REASONS[exclusions.reason[at]],
            )
        )
    return left_out


def _plain(name: str) -> str:
    return without_unit(name).replace("_", " ").replace("tds", "TDS").replace(" ph", " pH")


def _number(value: Any, digits: int) -> float | None:
    number = float(value)
    return round(number, digits) if np.isfinite(number) else None
