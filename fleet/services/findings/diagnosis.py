"""What would a reading say of a unit? Asked, answered, and forgotten: nothing is stored."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import Q

from accounts.errors import Fault, InvalidInput
from accounts.models import Membership
from fleet.engineering.diagnosis import CONTEXT_KEYS, Match, context_of, diagnose, suppose
from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.errors import EngineeringError
from fleet.engineering.indicators.reasons import sentence
from fleet.engineering.limits import HOUSE
from fleet.engineering.units import QUANTITY_KINDS, plausibility
from fleet.intake.names import public_name
from fleet.intake.words import unusual
from fleet.models import Reading, Unit
from fleet.services.findings.facts import context_of_row, load_history
from fleet.services.limits import limits_of
from fleet.services.readings.tables import WORDS, load_readings, with_supposed_reading

READING_FACTS: Final = (
    *Reading.QUANTITIES,
    "minutes_since_start",
    *(name for name in WORDS if name not in ("occasion", "observations")),
)
"""What belongs to the reading; all other names of the diagnosis are facts of the unit and observations."""

OTHER_FACTS: Final = tuple(name for name in CONTEXT_KEYS if name not in READING_FACTS)


@dataclass(frozen=True)
class Doubt:
    """Something about the reading that is possible but unusual."""

    field: str
    sentence: str


@dataclass(frozen=True)
class Diagnosis:
    """All patterns that a supposed reading shows.

    `context` holds every fact the rules were given; `reasons` says in a sentence why an indicator cannot be had.
    """

    unit_id: int | None
    matches: tuple[Match, ...]
    indicators: Mapping[str, float]
    reasons: Mapping[str, str]
    context: Mapping[str, Fact]
    doubts: tuple[Doubt, ...]


def what_if(
    *, reading: Mapping[str, Fact], facts: Mapping[str, Fact], unit: Unit | None, by: Membership, now: datetime
) -> Diagnosis:
    """Diagnose a reading without storing anything.

    Parameters
    ----------
    reading
        Quantities and states by their stored names, in stored units.
    facts
        Baselines, facts of the unit and observations; they win over what is known of the unit.
    unit
        A unit whose facts, baselines and feed water stand behind the reading, as if it were taken now.

    Raises
    ------
    InvalidInput
        When there is nothing to judge, or facts contradict each other.
    """
    if not reading and not facts:
        raise InvalidInput(
            "nothing_to_judge",
            "Give at least one quantity of a reading in 'reading', or a fact in 'facts'.",
            pointer="/reading",
        )
    try:
        if unit is None:
            supposition = suppose(reading, facts)
            context, values, missing = dict(supposition.context), supposition.indicators, supposition.reasons
        else:
            context, values, missing = _at_unit(unit, reading, by, now)
            context = {name: value for name, value in context_of(context, {}, facts).items() if value is not None}
        matches = tuple(diagnose(context, limits=HOUSE if unit is None else limits_of(unit)))
    except EngineeringError as error:
        place = "reading" if error.field in reading else "facts"
        name = public_name(error.field)
        raise InvalidInput(
            "facts_contradict", error.sentence, faults=[Fault(f"/{place}/{name}", error.sentence)]
        ) from None
    doubts = [
        Doubt(public_name(name), unusual(name, doubt))
        for name, value in reading.items()
        if name in QUANTITY_KINDS and isinstance(value, float) and (doubt := plausibility(value, QUANTITY_KINDS[name]))
    ]
    reasons = {name: sentence(code) for name, code in missing.items()}
    return Diagnosis(unit.pk if unit is not None else None, matches, values, reasons, context, tuple(doubts))


def _at_unit(
    unit: Unit, reading: Mapping[str, Fact], by: Membership, now: datetime
) -> tuple[dict[str, Fact], Mapping[str, float], Mapping[str, str]]:
    before = load_readings(by.company, [unit.pk], condition=Q(taken_at__lte=now))
    table = with_supposed_reading(before, unit_id=unit.pk, taken_at=now, values=reading)
    history = load_history(by.company, [unit.pk], table)
    row = len(table) - 1
    values, missing = history.indicators.row(row)
    return context_of_row(history, row), values, missing
