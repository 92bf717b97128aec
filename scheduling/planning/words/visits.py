"""Why a task is on a visit, when a visit is best, and what sets the pace of a site."""

from typing import Final

from accounts.language import gettext, ngettext
from fleet.forecasting.distribution import percent_text

_LEAST_MONEY: Final = 0.005


# the reason of a task


def exhausted_chance(name: str, probability: float) -> str:
    """How likely a cartridge is to be exhausted by its visit."""
    words = gettext("{name}: {chance} likely to be exhausted by the visit")
    return words.format(name=name, chance=percent_text(probability))


def lead_exhausted_chance(name: str, lead: float, both: float) -> str:
    """How likely a lead is to be exhausted by its visit, and that the lag after it is exhausted too."""
    words = gettext(
        "{name}: {lead} likely to be exhausted by the visit, and {both} that the lag after it is exhausted too"
    )
    return words.format(name=name, lead=percent_text(lead), both=percent_text(both))


def due_chance(name: str, probability: float) -> str:
    """How likely work that nothing wears is to be due by its visit."""
    return gettext("{name}: {chance} likely to be due by the visit").format(name=name, chance=percent_text(probability))


def deadline(day: int) -> str:
    """A deadline, in days from today."""
    if day < 0:
        return ngettext(
            "its deadline passed {days} day ago, so it is done now",
            "its deadline passed {days} days ago, so it is done now",
            -day,
        ).format(days=-day)
    return gettext("it must be done by its deadline {when}").format(when=_when(day))


def money_of_task(*, waste: float, waiting: float, saving: float, currency: str) -> list[str]:
    """What is lost, what waiting would cost or save, what this visit saves: a clause for each that is worth a cent."""
    clauses = []
    if waste >= _LEAST_MONEY:
        clauses.append((gettext("{money:.2f} {currency} of its remaining life is lost"), waste))
    if waiting > _LEAST_MONEY:
        clauses.append((gettext("four more weeks would cost {money:.2f} {currency}"), waiting))
    elif waiting < -_LEAST_MONEY:
        clauses.append((gettext("four more weeks would save {money:.2f} {currency}"), -waiting))
    if saving > _LEAST_MONEY:
        words = gettext("doing it on this visit saves {money:.2f} {currency} over the next best way")
        clauses.append((words, saving))
    return [words.format(money=money, currency=currency) for words, money in clauses]


def own_day(days_later: int) -> str:
    """How far from the visit its own cheapest day lies; negative: before it."""
    if days_later > 0:
        words = ngettext(
            "by itself its cheapest day would be {days} day later",
            "by itself its cheapest day would be {days} days later",
            days_later,
        )
    else:
        words = ngettext(
            "by itself its cheapest day would be {days} day sooner",
            "by itself its cheapest day would be {days} days sooner",
            -days_later,
        )
    return words.format(days=abs(days_later))


# the reason of a visit


def best_day(*, day: int, tasks: int, visit_price: float, waiting: float, currency: str) -> str:
    """When a visit is best, what it costs, and what four weeks of waiting would do."""
    listed = ngettext("one task", "{count} tasks together", tasks).format(count=tasks)
    if waiting > 0.0:
        tail = gettext("four weeks later would cost {money:.2f} {currency} more")
    else:
        tail = gettext("four weeks later would save {money:.2f} {currency} in waste")
    if day == 0 and waiting > 0.0:
        # today is no better than yesterday was, and not all visits of which this is true can be made on it
        words = gettext("The sooner the better: {tasks} on a visit that costs about {price:.2f} {currency}; {tail}.")
    else:
        words = gettext("Best {when}: {tasks} on a visit that costs about {price:.2f} {currency}; {tail}.")
    return words.format(
        when=_when(day),
        tasks=listed,
        price=visit_price,
        currency=currency,
        tail=tail.format(money=abs(waiting), currency=currency),
    )


def pace(*, name: str, life_days: float, saved_visits: float, saved_money: float, currency: str) -> str:
    """Which cartridge sets the pace of a site's visits; with a space before it."""
    return ngettext(
        " The pace here is set by: {name}, which lasts about {life:.0f} days; one that lasts twice as long would save "
        "about {visits:.0f} visit a year, {money:.2f} {currency}.",
        " The pace here is set by: {name}, which lasts about {life:.0f} days; one that lasts twice as long would save "
        "about {visits:.0f} visits a year, {money:.2f} {currency}.",
        round(saved_visits),
    ).format(name=name, life=life_days, visits=saved_visits, money=saved_money, currency=currency)


def _when(day: int) -> str:
    if day == 0:
        return gettext("today")
    return gettext("tomorrow") if day == 1 else gettext("in {days} days").format(days=day)
