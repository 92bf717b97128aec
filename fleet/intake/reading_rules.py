"""What one reading says by itself: contradictions are refused, doubts are flagged and kept."""

from collections.abc import Sequence
from typing import Final

from fleet.engineering.quantities import SETTLING_MINUTES
from fleet.engineering.units import QUANTITY_KINDS, plausibility
from fleet.intake import words
from fleet.intake.directory import Place
from fleet.intake.observations import FIELD as OBSERVATIONS
from fleet.intake.rows import Row

_CHLORINE_PAIRS: Final = (
    ("feed_free_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l"),
    ("carbon_outlet_free_chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l"),
)
_ROUNDING: Final = 1e-6
# Two gauges of a home unit agree within about this share and these kPa (common practice, no source).
_GAUGE_SHARE: Final = 0.1
_GAUGE_KPA: Final = 20.0


def check_reading(row: Row, place: Place, quantities: Sequence[str]) -> None:
    """Refuse a row without a value or with a contradiction no meter can show; flag what is possible but doubtful."""
    if not row.numbers.keys() - {"minutes_since_start"} and OBSERVATIONS not in row.fields and not row.faults:
        row.refuse("row", "no_value", "The row holds no reading; give at least one gauge, meter or observation.")
    for free, total in _CHLORINE_PAIRS:
        refuse_free_above_total(row, free, total)
    if row.faults:
        return
    _flag_state(row)
    _flag_contradictions(row, place)
    for column in quantities:
        if column in row.numbers:
            doubt = plausibility(row.numbers[column], QUANTITY_KINDS[column])
            if doubt:
                row.flag(column, "unusual", words.unusual(column, doubt))


def refuse_free_above_total(row: Row, free: str, total: str) -> None:
    """Free chlorine is a part of total chlorine, so it cannot be more."""
    if free in row.numbers and total in row.numbers and row.numbers[free] > row.numbers[total] * (1 + _ROUNDING):
        row.refuse(
            free,
            "free_chlorine_above_total",
            f"The free chlorine, {row.sent[free]}, is above the total, {row.sent[total]}; total includes free, so the "
            "two may be exchanged or a test went wrong.",
        )


def _flag_state(row: Row) -> None:
    minutes = row.numbers.get("minutes_since_start")
    if minutes is not None and minutes < SETTLING_MINUTES:
        row.flag(
            "minutes_since_start",
            "first_minutes",
            words.read_before_settled(minutes, SETTLING_MINUTES),
        )
    flow = row.numbers.get("permeate_flow_l_per_day")
    if row.fields.get("state") == "static" and flow:
        row.flag("state", "static_with_flow", words.static_with_flow())
    if row.fields.get("state") == "flowing" and flow == 0:
        row.flag("permeate_flow_l_per_day", "flowing_without_flow", words.flowing_without_flow())


def _flag_contradictions(row: Row, place: Place) -> None:
    numbers = row.numbers
    line = numbers.get("line_pressure_kpa")
    outlet = numbers.get("prefilter_outlet_pressure_kpa")
    inlet = numbers.get("inlet_pressure_kpa")
    if line is not None and outlet is not None and outlet > line + max(_GAUGE_KPA, _GAUGE_SHARE * line):
        row.flag(
            "prefilter_outlet_pressure_kpa",
            "outlet_above_line",
            words.outlet_above_line(row.sent["prefilter_outlet_pressure_kpa"], row.sent["line_pressure_kpa"]),
        )
    before = outlet if outlet is not None else line
    if (
        inlet is not None
        and before is not None
        and not place.has_booster_pump
        and inlet > before + max(_GAUGE_KPA, _GAUGE_SHARE * before)
    ):
        row.flag(
            "inlet_pressure_kpa",
            "inlet_above_line",
            words.inlet_above_line(row.sent["inlet_pressure_kpa"]),
        )
    feed, concentrate = numbers.get("feed_tds_mg_per_l"), numbers.get("concentrate_tds_mg_per_l")
    if feed is not None and concentrate is not None and concentrate < 0.95 * feed:
        row.flag(
            "concentrate_tds_mg_per_l",
            "concentrate_below_feed",
            words.concentrate_below_feed(row.sent["concentrate_tds_mg_per_l"], row.sent["feed_tds_mg_per_l"]),
        )
