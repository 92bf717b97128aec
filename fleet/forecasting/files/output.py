"""What the file door gives: one row a position, and a report of everything that was not used."""

import csv
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Final

import numpy as np

from accounts.language import gettext, ngettext
from fleet.forecasting.answer.explain import date_text, sentence_for_client, sentence_for_installer
from fleet.forecasting.answer.gauges import Gauges
from fleet.forecasting.answer.left_out import why_left_out
from fleet.forecasting.answer.reasons import explain_exhaustion
from fleet.forecasting.answer.results import FRESH_LEVELS, Forecasts
from fleet.forecasting.distribution import LEVELS
from fleet.forecasting.files.days import UNIX_EPOCH
from fleet.forecasting.files.gathering import MOST_SINGLE, gather
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.build import Fault
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.tables import Fleet, Indexes

OUTPUT_HEADERS: Final = (
    "unit", "position", "stage", "role", "state",
    *(f"p{round(100 * level):02d}" for level in LEVELS),
    "driver", "probability of maximum service time", "remaining share",
    *(f"fresh life p{round(100 * level):02d} [days]" for level in FRESH_LEVELS), "daily load", "daily load unit",
    "readings used", "readings excluded", "newest reading age [days]", "past lives", "priors",
    "no date because", "for the installer", "for the client",
)  # fmt: skip


def write_forecasts(fleet: Fleet, forecasts: Forecasts, path: Path) -> int:
    """Write one row per unit and position; dates are UTC days. Returns the number of rows."""
    dates = forecasts.quantile_day
    limits = limits_of_fleet(fleet)
    gauges = Gauges(fleet, forecasts.exclusions, limits)
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(OUTPUT_HEADERS)
        for row in range(len(forecasts)):
            has_date = np.isfinite(dates[row, 0])
            is_exhausted = forecasts.state[row] == words.EXHAUSTED_NOW
            why = explain_exhaustion(fleet, forecasts, gauges, row, limits) if is_exhausted else None
            writer.writerow(
                [
                    fleet.units.unit_id[fleet.positions.unit_index[row]],
                    fleet.positions.position_id[row],
                    words.STAGES[fleet.positions.stage[row]],
                    words.ROLES[fleet.positions.role[row]],
                    words.STATES[forecasts.state[row]],
                    *((date_text(day) for day in dates[row]) if has_date else [""] * len(LEVELS)),
                    words.DRIVERS[forecasts.driver[row]],
                    _short(forecasts.probability_maximum_service_time[row]),
                    _short(forecasts.remaining_share[row]),
                    *(_short(days) for days in forecasts.fresh_life_days[row]),
                    _short(forecasts.daily_load[row]),
                    words.LOAD_UNITS[forecasts.daily_load_unit[row]],
                    int(forecasts.readings_used[row]),
                    int(forecasts.readings_excluded[row]),
                    _short(forecasts.newest_reading_age_days[row]),
                    int(forecasts.past_lives[row]),
                    words.PRIORS[forecasts.priors[row]],
                    gettext(forecasts.no_date_reason[row]),
                    sentence_for_installer(
                        fleet, forecasts, row, why.sentence if why else "", is_certain=why is None or why.is_certain
                    ),
                    sentence_for_client(
                        fleet,
                        forecasts,
                        row,
                        why.client_sentence if why else "",
                        is_certain=why is None or why.is_certain,
                    ),
                ]
            )
    return len(forecasts)


def _short(value: float) -> str:
    return "" if not np.isfinite(value) else f"{value:.4g}"


_LATER: Final = words.EXCLUSION_REASONS.index("clock_in_future")


def write_report(fleet: Fleet, forecasts: Forecasts, faults: Sequence[Fault], path: Path) -> int:
    """Write what was not used: rows of the files, and reading values left out, each with its reason."""
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(["table", "row", "unit", "time", "column", "code", "whole row left out", "what was wrong"])
        for fault in gather(faults):
            row = fault.row + 2 if fault.row >= 0 else ""
            dropped = "yes" if fault.row_dropped else "no"
            writer.writerow([fault.table, row, "", "", fault.field, fault.code, dropped, fault.message])
        exclusions = forecasts.exclusions
        is_later = exclusions.reason == _LATER
        if is_later.any():
            writer.writerow(_later_line(fleet, exclusions.reading_index[is_later]))
        for index in np.flatnonzero(~is_later).tolist():
            reading = exclusions.reading_index[index]
            quantity = exclusions.quantity[index]
            code = words.EXCLUSION_REASONS[exclusions.reason[index]]
            writer.writerow(
                [
                    "readings",
                    "",
                    fleet.units.unit_id[fleet.readings.unit_index[reading]],
                    _moment(float(fleet.readings.day[reading])),
                    words.QUANTITIES[quantity] if quantity >= 0 else "",
                    code,
                    "yes" if quantity < 0 else "no",
                    why_left_out(code),
                ]
            )
    return len(faults) + len(exclusions)


def _later_line(fleet: Fleet, readings: Indexes) -> list[str]:
    """One line for all readings after the forecast's day: there may be years of them, none of which is wrong."""
    first = readings[np.argsort(fleet.readings.day[readings], kind="stable")]
    unit_of = fleet.units.unit_id[fleet.readings.unit_index[first]]
    shown = [
        f"{unit} {_moment(float(day))}"
        for unit, day in zip(unit_of[:MOST_SINGLE], fleet.readings.day[first[:MOST_SINGLE]], strict=True)
    ]
    code = words.EXCLUSION_REASONS[_LATER]
    count = len(readings)
    sentence = ngettext("{why} ({count} reading; first {first})", "{why} ({count} readings; first {first})", count)
    sentence = sentence.format(why=why_left_out(code), count=count, first=", ".join(shown))
    return ["readings", "", "", "", "", code, "yes", sentence]


def _moment(day: float) -> str:
    return (UNIX_EPOCH + timedelta(minutes=round(day * 1440))).isoformat(timespec="minutes")
