"""The gauges of a unit as a page asks for them: what each showed last, in which unit, and what it should show."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from accounts.language import gettext
from fleet.engineering.stages import FINISHING
from fleet.engineering.units import QUANTITY_KINDS
from fleet.intake.names import READING_COLUMNS, public_name, spoken

#: What is read at any unit, whatever was read there before; common practice, no source.
_AT_ANY: Final = ("line_pressure", "inlet_pressure", "temperature", "feed_tds", "permeate_tds", "permeate_flow")
_WITH_STAGE: Final[Mapping[str, tuple[str, ...]]] = {
    "resin": ("product_tds",),
    **{
        stage: tuple(public_name(name) for sign in finishing.signs for name in sign.quantities)
        for stage, finishing in FINISHING.items()
    },
}
"""What is read besides where the train has a stage."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """One gauge.

    Attributes
    ----------
    name, spoken
        As the API calls it, and as people do.
    units
        In which it can be written, first the one it was read in last, else that of the company.
    last, last_at
        What it showed last, in the unit it was read in, and when (ISO text); empty where it was never read.
    should
        What it should show after the work; empty where nothing can be said.
    if_not
        What to look for where it does not.
    """

    name: str
    spoken: str
    units: tuple[str, ...]
    last: str = ""
    last_at: str = ""
    should: str = ""
    if_not: str = ""


def gauges_of(
    unit: Mapping[str, Any], readings: Sequence[Mapping[str, Any]], system: str, *, stages: Collection[str]
) -> tuple[list[Gauge], list[Gauge]]:
    """The gauges that are usually read at a unit, and all others, each in the house's order.

    Parameters
    ----------
    unit
        Of a day sheet.
    readings
        Of this unit as the API answers them, the newest first.
    system
        Of the company: 'us' or 'metric'.
    stages
        Of its train.
    """
    expected = {row["quantity"]: row for row in unit["expected_readings"]}
    last: dict[str, tuple[Mapping[str, Any], str]] = {}
    for reading in reversed(readings):
        last |= {name: (sent, reading["taken_at"]) for name, sent in reading["as_sent"].items()}
    usual = {*_AT_ANY, *(row["quantity"] for row in unit["last_readings"]), *expected, *last}
    for stage in stages:
        usual.update(_WITH_STAGE.get(stage, ()))
    rows = [_gauge(name, last.get(name), expected.get(name), system) for name in READING_COLUMNS]
    return [row for row in rows if row.name in usual], [row for row in rows if row.name not in usual]


def _gauge(name: str, last: tuple[Mapping[str, Any], str] | None, expected: Any, system: str) -> Gauge:
    kind = QUANTITY_KINDS[READING_COLUMNS[name]]
    by_company = [kind.display_units[one] for one in (system, *kind.display_units)]
    forms = [form.partition(" ")[2] for form in kind.forms]
    sent = last[0] if last is not None else {}
    return Gauge(
        name=name,
        spoken=gettext(spoken(name)),
        units=tuple(dict.fromkeys(unit for unit in (sent.get("unit"), *by_company, *forms) if unit)),
        last=f"{sent['value']} {sent['unit']}".strip() if sent else "",
        last_at=last[1] if last is not None else "",
        should=_should(expected) if expected is not None else "",
        if_not=expected["if_not"] if expected is not None else "",
    )


def _should(expected: Mapping[str, Any]) -> str:
    """A range in words, such as '188 to 313 L/day'."""
    low, high = expected["low"], expected["high"]
    if low is not None and high is not None:
        return gettext("{low} to {high}").format(low=f"{low['value']:g}", high=_shown(high))
    if high is not None:
        return gettext("{value} at most").format(value=_shown(high))
    if low is not None:
        return gettext("{value} at least").format(value=_shown(low))
    return _shown(expected["value"]) if expected["value"] is not None else ""


def _shown(value: Mapping[str, Any]) -> str:
    return f"{value['value']:g} {value['unit']}".strip()
