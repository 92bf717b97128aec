"""What attention is told from, as plain rows: a company has thousands of findings and of needs that fall due.

A row of a table as an object with its unit, site and client costs ten times as much as the columns that decide whether
it is told of and where it stands; the rest is read of those that are shown.
"""

import json
from collections.abc import Sequence
from datetime import date
from typing import Any, Final, NamedTuple

from django.db.models import QuerySet, TextField
from django.db.models.functions import Cast

from accounts.row_versions import Rows
from fleet.models import CatalogueItem, Finding, Forecast, Unit
from scheduling.models import Need
from scheduling.planning.needs.dates import KnownDates
from scheduling.planning.needs.facts import ForecastFacts
from scheduling.planning.needs.need import exhausted_probability
from scheduling.services.needs.facts import days_from_all
from scheduling.services.needs.waiting import cost_of_a_week_in_text
from scheduling.services.words import attention as words

_WEARING: Final = (Need.Kind.REPLACE, Need.Kind.ROTATE)
_OF_FINDING: Final = ("pk", "unit_id", "unit__code", "rule", "cause", "state", "confidence", "installer_sentence")
_OF_NEED: Final = (
    "pk", "unit_id", "unit__code", "kind", "label", "item__code", "position_id", "position__stage",
    "finding_id", "finding__state", "forecast__state", "forecast__as_of", "grid", "curve_first_day", "curve",
)  # fmt: skip


class FindingRow(NamedTuple):
    """A finding, as far as it is told of."""

    pk: int
    unit_id: int
    unit_code: str
    rule: str
    cause: str
    state: str
    confidence: float
    installer_sentence: str

    @property
    def finding(self) -> Finding:
        """What sentences are made of; it is no row of the table."""
        return Finding(rule=self.rule, installer_sentence=self.installer_sentence, unit=Unit(code=self.unit_code))

    def sentence(self) -> str:
        """What was found at a unit."""
        return words.of_finding(self.finding)


class LikelyNeed(NamedTuple):
    """A need whose cartridge is likely to be exhausted by a day: with which probability, and what a week costs."""

    pk: int
    unit_id: int
    unit_code: str
    kind: str
    label: str
    item_code: str | None
    stage: str | None
    finding_id: int | None
    finding_state: str | None
    probability: float
    cost_of_waiting: float | None

    def sentence(self, by: date, seen: FindingRow | None) -> str:
        """How likely it is exhausted by the day, and what a reading shows of it."""
        item = CatalogueItem(code=self.item_code) if self.item_code is not None else None
        need = Need(kind=self.kind, label=self.label, unit=Unit(code=self.unit_code), item=item)
        sentence = words.of_forecast(need, self.probability, by)
        return words.also_seen(sentence, seen.finding) if seen is not None else sentence


def read_findings(findings: "QuerySet[Finding]") -> list[FindingRow]:
    """Findings as rows, in their order."""
    return list(map(FindingRow._make, findings.values_list(*_OF_FINDING)))


def rows_of_likely(needs: "QuerySet[Need]") -> dict[str, Rows]:
    """What `read_likely` is worked out from, but the days and the probability."""
    beside = ("unit__code", "item__code", "position__stage", "finding__state", "forecast__as_of")
    return {"needs": (needs.filter(kind__in=_WEARING), beside)}


def read_likely(needs: "QuerySet[Need]", *, today: date, day: date, risk: float) -> list[LikelyNeed]:
    """Of some needs with forecasts, those that throw a cartridge away which is exhausted by a day with at least a
    probability; the rule is that of `costs.all_exhausted_by`.

    Parameters
    ----------
    needs
        Which may be among them, with a forecast each.
    today, day
        The company's day, and the day.
    risk
        Probability, 0 to 1.
    """
    wearing = needs.filter(kind__in=_WEARING)
    # arrays as text, read all at once: one by one they cost several times as much
    as_text = wearing.annotate(grid=Cast("forecast__date_grid", TextField()), curve=Cast("cost_curve", TextField()))
    rows: list[Any] = list(as_text.order_by("pk").values_list(*_OF_NEED))
    column = dict(zip(_OF_NEED, zip(*rows, strict=True), strict=True)) if rows else dict.fromkeys(_OF_NEED, ())
    grids = json.loads(f"[{','.join(column['grid'])}]")
    all_days = days_from_all(column["forecast__as_of"], grids, today)
    quantiles = [
        KnownDates(
            forecast=ForecastFacts(0, None, days, is_exhausted=state == Forecast.State.EXHAUSTED),
            is_seen=finding is not None and position is not None,
            is_confirmed=finding == Finding.State.CONFIRMED,
        ).own_quantile_days
        for days, state, finding, position in zip(
            all_days, column["forecast__state"], column["finding__state"], column["position_id"], strict=True
        )
    ]
    chances = _exhausted_by(quantiles, float(max((day - today).days, 0)))
    found = []
    for row, chance in zip(rows, chances, strict=True):
        if chance is None or chance < risk:
            continue
        pk, unit_id, unit_code, kind, label, item_code, _, stage, finding_id, finding_state, *_, first, curve = row
        cost = cost_of_a_week_in_text(curve, first, day=today)
        found.append(
            LikelyNeed(
                pk, unit_id, unit_code, kind, label, item_code, stage, finding_id, finding_state, chance, cost
            )
        )  # fmt: skip
    return found


def _exhausted_by(quantiles: Sequence[tuple[float, ...]], ahead: float) -> list[float | None]:
    """Probability that each is exhausted in so many days; None without a date."""
    found: list[float | None] = [None] * len(quantiles)
    dated = [k for k, days in enumerate(quantiles) if days]
    if dated:
        by_then = exhausted_probability([quantiles[k] for k in dated], [ahead])[:, 0]
        for k, probability in zip(dated, by_then.tolist(), strict=True):
            found[k] = probability
    return found
