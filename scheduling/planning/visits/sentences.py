"""What a proposed visit says to a person: why each task is on it, when it is best, and what sets the pace."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fleet.forecasting.distribution import percent_text
from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.visits.proposal import NeedChoice


def explain(need: Need, choice: NeedChoice, *, visit_day: int, used_up: float, currency: str) -> str:
    """Why a need is on a visit.

    Parameters
    ----------
    need, choice
        What is done, and why in money.
    visit_day
        The best day of the visit, days from today.
    used_up
        Probability (0-1) that what is thrown away is used up by then.
    currency
        Of the money.
    """
    name = need.label or need.position or need.kind.value.replace("_", " ")
    name = name[:1].upper() + name[1:]
    parts = []
    late = percent_text(choice.exhausted_probability)
    if need.worn_quantile_days:
        parts.append(
            f"{name}: {percent_text(used_up)} likely to be exhausted by the visit, and {late} that the lag after it is "
            "exhausted too"
        )
    elif need.quantile_days and not math.isnan(need.quantile_days[0]):
        # Only what wears is ever exhausted; a sanitising or a repair falls due.
        state = "exhausted" if need.kind in (NeedKind.REPLACE, NeedKind.ROTATE) else "due"
        parts.append(f"{name}: {late} likely to be {state} by the visit")
    else:
        parts.append(name)
    if need.deadline_day is not None:
        parts.append(_deadline_words(need.deadline_day))
    if choice.waste_on_visit >= 0.005:
        parts.append(f"{choice.waste_on_visit:.2f} {currency} of its remaining life is lost")
    if choice.cost_of_waiting > 0.005:
        parts.append(f"four more weeks would cost {choice.cost_of_waiting:.2f} {currency}")
    elif choice.cost_of_waiting < -0.005:
        parts.append(f"four more weeks would save {-choice.cost_of_waiting:.2f} {currency}")
    if choice.saving > 0.005:
        parts.append(f"doing it on this visit saves {choice.saving:.2f} {currency} over the next best way")
    apart = abs(visit_day - choice.best_day)
    if apart:
        sooner = "later" if visit_day < choice.best_day else "sooner"
        parts.append(f"by itself its cheapest day would be {apart} day{'' if apart == 1 else 's'} {sooner}")
    return "; ".join(parts) + "."


def _deadline_words(day: int) -> str:
    if day < 0:
        return f"its deadline went by {-day} day{'' if day == -1 else 's'} ago, so it is done now"
    when = "today" if day == 0 else "tomorrow" if day == 1 else f"in {day} days"
    return f"it must be done by its deadline {when}"


def summary(choices: tuple[NeedChoice, ...], visit_price: float, day: int, currency: str) -> str:
    """When a visit is best, what it costs, and what putting it off does."""
    waiting = sum(c.cost_of_waiting for c in choices)
    when = "today" if day == 0 else "tomorrow" if day == 1 else f"in {day} days"
    tasks = "one task" if len(choices) == 1 else f"{len(choices)} tasks together"
    tail = (
        f"four weeks later would cost {waiting:.2f} {currency} more"
        if waiting > 0.0
        else f"four weeks later would save {-waiting:.2f} {currency} in waste"
    )
    return f"Best {when}: {tasks} on a visit that costs about {visit_price:.2f} {currency}; {tail}."


def pace(needs: Sequence[Need], visit_price: float, currency: str) -> str:
    """Which cartridge sets the pace of a site's visits, and what one that lasts twice as long would save a year.

    Visits cannot be fewer than what the shortest-lived cartridge asks for, however well they are bundled: where it is
    alone in that, a larger one is the way to fewer. Empty where that saves less than a visit a year, or a life is not
    known.
    """
    worn = [need for need in needs if need.kind in (NeedKind.REPLACE, NeedKind.ROTATE) and need.quantile_days]
    if not worn or not all(need.fresh_life_days > 0.0 for need in worn):
        return ""
    first, *others = sorted(worn, key=lambda need: need.fresh_life_days)
    life = first.fresh_life_days
    then = min([2.0 * life, *(need.fresh_life_days for need in others)])
    saved = 365.0 / life - 365.0 / then
    if saved < 1.0:
        return ""
    name = first.label or first.position
    return (
        f" The pace here is set by: {name}, which lasts about {life:.0f} days; one that lasts twice as long would save "
        f"about {saved:.0f} visit{'' if round(saved) == 1 else 's'} a year, {saved * visit_price:.2f} {currency}."
    )
