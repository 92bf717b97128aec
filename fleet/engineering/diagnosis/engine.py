"""Work through the rules and report every match; choose none silently."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from accounts.language import gettext
from fleet.engineering.diagnosis.facts import Fact, Facts, PatternLimits
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules import RULES
from fleet.engineering.limits import HOUSE, Limits

# What a verdict is worth beside a finding that puts the reading itself in doubt (common practice, no source).
_DOUBTED: Final = 0.6


@dataclass(frozen=True)
class Match:
    """One pattern found.

    Attributes
    ----------
    rule : Rule
        The rule that says so.
    confidence : float
        0 to 1; lower where the reading itself is in doubt.
    numbers : mapping
        What it rests on.
    action, for_installer, for_client : str
        What to do and the finding in a sentence, by what the numbers say here.
    doubted_by : tuple of str
        Rules that put the reading in doubt.
    is_clear : bool
        Whether one visit is proof.
    """

    rule: Rule
    confidence: float
    numbers: Mapping[str, float | str]
    action: str
    for_installer: str
    for_client: str
    doubted_by: tuple[str, ...] = ()
    is_clear: bool = False

    @property
    def id(self) -> str:
        """Identifier of the rule."""
        return self.rule.id

    @property
    def title(self) -> str:
        """What it is called in a list."""
        return gettext(self.rule.title)

    @property
    def causes(self) -> tuple[str, ...]:
        """Codes of the likely causes, the likeliest first."""
        return tuple(cause.code for cause in self.rule.causes)

    @property
    def confirming_check(self) -> str:
        """What settles whether it is so."""
        return gettext(self.rule.confirm)

    @property
    def caution(self) -> str:
        """What to mind at the work."""
        return " ".join(map(gettext, self.rule.cautions))

    @property
    def limit_source(self) -> str:
        """Where the limit is from."""
        return gettext(self.rule.source)


def diagnose(
    context: Mapping[str, Fact], *, limits: Limits[float] = HOUSE, pattern_limits: PatternLimits | None = None
) -> list[Match]:
    """Return every pattern the facts show, in the order of work.

    Parameters
    ----------
    context : mapping
        Fact name -> number, yes/no, text or None. Names and meanings are in `CONTEXT_KEYS`; canonical units (kPa gauge,
        mg/L on the 0.5 scale, L/day, degC, fractions). A missing fact, None or NaN, silences the rules that need it.
    limits : Limits, optional
        What counts as exhausted at this unit; the limits of the house when not given.
    pattern_limits : PatternLimits, optional
        Of the patterns, other than the defaults.

    Returns
    -------
    list of Match
        Empty when nothing is found. Several may hold at once: ask for the confirming check, do not pick one.

    Raises
    ------
    EngineeringError
        A name that is not a fact, or a value of the wrong type, by name.

    Examples
    --------
    >>> matches = diagnose({"permeate_tds_mg_per_l": 9.0, "interstage_tds_mg_per_l": 9.0, "product_tds_mg_per_l": 0.0})
    >>> [match.causes[0] for match in matches]
    ['di_lead_exhausted']
    """
    facts = Facts(context, limits, PatternLimits() if pattern_limits is None else pattern_limits)
    matched_rules = [(rule, evidence) for rule in RULES if (evidence := rule.condition(facts)) is not None]
    doubting = [rule for rule, _ in matched_rules if rule.doubts]
    matches = []
    for rule, evidence in matched_rules:
        doubts = tuple(other.id for other in doubting if rule.step in other.doubts and other is not rule)
        matches.append(
            Match(
                rule,
                evidence.confidence * (_DOUBTED if doubts else 1.0),
                evidence.numbers,
                evidence.action or gettext(rule.action),
                evidence.for_installer or gettext(rule.for_installer),
                (evidence.for_client or gettext(rule.for_client)) if evidence.tells_client else "",
                doubts,
                evidence.is_clear and not doubts,
            )
        )
    return matches
