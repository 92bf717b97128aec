"""The guide to the fleet files as text for a terminal."""

import textwrap
from collections.abc import Mapping
from dataclasses import fields
from typing import Final

from fleet.engineering.limits import HOUSE
from fleet.engineering.units import QUANTITY_KINDS
from fleet.forecasting.files.guide import GUIDE, NEEDED_FILES, FileColumn
from fleet.forecasting.files.other_headers import OTHER_HEADERS, UNCLEAR_HEADERS
from fleet.forecasting.files.words import CLOGGED, SYNONYMS, UNCLEAR_WORDS

_FIRST_LINES: Final = (
    "A fleet is a directory of CSV files; units.csv and placements.csv are needed, the others help.",
    "Cells are separated by commas, semicolons or tabs; columns come in any order, and what is not listed is not read.",
    "A header carries the unit of its column, any one of the right dimension: 'inlet pressure [bar]'; round brackets",
    "or a comma will do. Or it is the stored name, which says its unit: 'inlet_pressure_kpa'. In brackets below: one",
    "unit that fits. Other headers and words that are understood are listed at the end; any that is not is reported.",
    "A unit may stand in the cells instead, the same in all of a column.",
    "Times are ISO 8601, a date or a moment, UTC unless an offset is given; '2 March 2026' and '2.3.2026' are read,",
    "and '2/3/2026' where other dates of the file tell which is the day. An empty cell: not known, never zero.",
    "Decimals have a point, or a comma where it can mean nothing else ('1,250' may be both). Of '<1' in a reading half",
    "is taken, and said so.",
    "A cartridge removed as 'exhausted' was seen to be; 'early' means that it was found good; 'routine', 'unknown' and",
    "an empty cell mean that nobody looked.",
)
_LAST_LINES: Final = (
    "Written are one row a unit and position: unit, position, stage, role, state (installed, empty, exhausted,",
    "no_consumption), p05 p10 p25 p50 p75 p90 p95 as dates (UTC; empty where there is no date), driver (capacity,",
    "pressure, breakthrough, membrane_trend, maximum_service_time), probability of maximum service time, remaining",
    "share, daily load with its unit, readings used and excluded, newest reading age [days], past lives,",
    "priors (nominal, fleet, own_past), why there is no date, and a sentence each for installer and client.",
    "The code is 0 when forecasts were written, whatever had to be left out (it is listed; --report FILE lists all of",
    "it), 1 when none could be. With --strict it is 2 when a row or column of the files could not be used.",
)
_SHOWN_UNITS: Final = {
    "pressure": "kPa", "temperature": "degC", "tds": "ppm", "flow": "L/day", "volume": "L", "chlorine": "mg/L",
    "concentration": "mg/L", "alkalinity": "mg/L as CaCO3", "hardness": "mg/L as CaCO3", "turbidity": "NTU",
    "length": "um", "mass": "g", "exchange_capacity": "eq/L", "fraction": "%", "duration": "days",
    "temperature_coefficient": "K",
}  # fmt: skip


def _unit_shown(column: FileColumn) -> str:
    """One unit that fits a column, in brackets; empty where it needs none."""
    if column.kind in ("text", "time", "word", "flag", "number"):
        return ""
    if column.field in ("weekly_demand_l", "minutes_since_start"):
        return "[L/week]" if column.field == "weekly_demand_l" else "[min]"
    quantity_kind = QUANTITY_KINDS.get(column.field)
    kind = quantity_kind.name if quantity_kind is not None else "fraction" if column.kind == "quantity" else column.kind
    return f"[{_SHOWN_UNITS[kind]}]" if kind in _SHOWN_UNITS else ""


def guide_text() -> str:
    """The guide as text for a terminal."""
    lines = list(_FIRST_LINES)
    for name, columns in GUIDE.items():
        lines.append("")
        lines.append(name + (" (needed)" if name in NEEDED_FILES else ""))
        for column in columns:
            mark = "*" if column.needed else " "
            shown = " | ".join(word for word in column.words if word)
            unit = _unit_shown(column)
            header = f"{column.header} {unit}".strip()
            lines.append(f"  {mark} {header:38s} {column.meaning}{' (' + shown + ')' if shown else ''}".rstrip())
    lines += ["", "* every row needs it", "", *_LAST_LINES, "", *_limits(), "", *_spellings()]
    return "\n".join(lines)


def _limits() -> list[str]:
    """What the dates are the days of."""
    most, margin, margin_from = (
        f"{kpa / 100.0:.2f} bar"
        for kpa in (
            HOUSE.prefilter_differential_pressure_kpa,
            HOUSE.prefilter_margin_kpa,
            HOUSE.prefilter_margin_from_kpa,
        )
    )
    return [
        "The dates are days on which a limit is reached; '--limit NAME=VALUE' states another one:",
        f"  sediment: differential pressure {most}, or {HOUSE.prefilter_outlet_fraction:.0%} of the pressure behind, "
        "whichever is less;",
        f"    from {margin_from} behind it on, no more than what leaves {margin}; "
        f"{HOUSE.prefilter_series_fraction:.0%} of all that for each of two in series",
        f"  carbon: chlorine {HOUSE.chlorine_mg_per_l:g} mg/L behind the last, {HOUSE.lead_carbon_fraction:.0%} of the "
        f"feed's behind the first of two; {HOUSE.carbon_maximum_service_time_days:.0f} days in service",
        f"  membrane: normalised flow {HOUSE.membrane_flow_fraction:.0%} of its first, or the unit's minimum rejection "
        f"({HOUSE.minimum_rejection_fraction:.0%} where none is given)",
        f"  resin: the unit's product TDS target ({HOUSE.product_tds_mg_per_l:g} mg/L where none is given) behind the "
        "last,",
        f"    {HOUSE.lead_resin_fraction:.0%} of the permeate's behind the first of two",
        "A differential pressure is meant at the usual flow and in the usual water of the unit. A membrane is dated",
        "with its prefilters kept up; of two beds in a row the last is dated as both stand, neither changed before.",
        *_wrapped(
            "Names of limits: ", ", ".join(f"{each.name} ({getattr(HOUSE, each.name):g})" for each in fields(HOUSE))
        ),
    ]


def _spellings() -> list[str]:
    """What is understood beside the guide's own headers and words, and what is not because it can mean two things."""
    lines = ["Other headers that are understood:"]
    for name, headers in OTHER_HEADERS.items():
        lines.append(f"  {name}")
        for column in GUIDE[name]:
            if column.field in headers:
                forms = "; each also with 'on', 'at', 'day' or 'date'" if column.kind == "time" else ""
                lines += _wrapped(f"    {column.header}: ", headers[column.field] + forms)
    lines.append("Other words that are understood:")
    for field, meanings in SYNONYMS.items():
        written: dict[str, list[str]] = {}
        for spelling, word in meanings.items():
            written.setdefault(word, []).append(spelling.replace("_", " "))
        lines.append(f"  {field.replace('_', ' ')}")
        for word, spellings in written.items():
            note = " (exhausted for sediment and membrane, else unknown)" if word == CLOGGED else ""
            lines += _wrapped(f"    {word}{note}: ", ", ".join(spellings))
    lines.append("Not understood, because they can mean more than one thing:")
    for place, refusals in (*UNCLEAR_HEADERS.items(), *UNCLEAR_WORDS.items()):
        lines.append(f"  {place}")
        for sentence, written_so in _by_sentence(refusals).items():
            lines += _wrapped(f"    {', '.join(written_so)}: ", sentence)
    return lines


def _by_sentence(refusals: Mapping[str, str]) -> dict[str, list[str]]:
    out: dict[str, list[str]] = {}
    for spelling, sentence in refusals.items():
        out.setdefault(sentence, []).append(spelling)
    return out


def _wrapped(start: str, text: str) -> list[str]:
    return textwrap.wrap(start + text, 118, subsequent_indent="      ")
