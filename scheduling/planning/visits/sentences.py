"""What a proposed visit says to a person: why each task is on it, when it is best, and what sets the pace."""

from __future__ import annotations

import math
from collections.abc import Sequence

from accounts.language import gettext
from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.visits.proposal import NeedChoice
from scheduling.planning.words import visits as words


def explain(need: Need, choice: NeedChoice, *, visit_day: int, lead_exhausted: float, currency: str) -> str:
    """Why a need is on a visit.

    Parameters
    ----------
    need, choice
        What is done, and why in money.
    visit_day
        The best day of the visit, days from today.
    lead_exhausted
        Probability (0-1) that what is thrown away is exhausted by then.
    currency
        Of the money.
    """
    name = gettext(need.label or need.position or need.kind.value.replace("_", " "))
    name = name[:1].upper() + name[1:]
    parts = []
    late = choice.exhausted_probability
    if need.exhausted_quantile_days:
        parts.append(words.lead_exhausted_chance(name, lead_exhausted, late))
    elif need.quantile_days and not math.isnan(need.quantile_days[0]):
        # Only what wears is ever exhausted; a sanitising or a repair falls due.
        wears = need.kind in (NeedKind.REPLACE, NeedKind.ROTATE)
        parts.append((words.exhausted_chance if wears else words.due_chance)(name, late))
    else:
        parts.append(name)
    if need.deadline_day is not None:
        parts.append(words.deadline(need.deadline_day))
    parts += words.money_of_task(
        waste=choice.waste_on_visit, waiting=choice.cost_of_waiting, saving=choice.saving, currency=currency
    )
    # a reading that waits for whoever comes costs nothing on any day
    comes_along = need.kind == NeedKind.TAKE_READING and need.late_cost_per_day == 0.0
    if choice.best_day != visit_day and not comes_along:
        parts.append(words.own_day(choice.best_day - visit_day))
    return "; ".join(parts) + "."


def summary(choices: tuple[NeedChoice, ...], visit_price: float, day: int, currency: str) -> str:
    """When a visit is best, what it costs, and what putting it off does."""
    waiting = sum(c.cost_of_waiting for c in choices)
    return words.best_day(day=day, tasks=len(choices), visit_price=visit_price, waiting=waiting, currency=currency)


def pace(needs: Sequence[Need], visit_price: float, currency: str) -> str:
    """Which cartridge sets the pace of a site's visits, and what one that lasts twice as long would save a year.

    Visits cannot be fewer than what the shortest-lived cartridge asks for, however well they are bundled: where it is
    alone in that, a larger one is the way to fewer. Empty where that saves less than a visit a year, or a life is not
    known.
    """
    cartridges = [need for need in needs if need.kind in (NeedKind.REPLACE, NeedKind.ROTATE) and need.quantile_days]
    if not cartridges or not all(need.fresh_life_days > 0.0 for need in cartridges):
        return ""
    first, *others = sorted(cartridges, key=lambda need: need.fresh_life_days)
    life = first.fresh_life_days
    then = min([2.0 * life, *(need.fresh_life_days for need in others)])
    saved = 365.0 / life - 365.0 / then
    if saved < 1.0:
        return ""
    return words.pace(
        name=gettext(first.label or first.position),
        life_days=life,
        saved_visits=saved,
        saved_money=saved * visit_price,
        currency=currency,
    )
