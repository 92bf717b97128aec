"""A need as the pure planning room sees it, and what each day of waiting costs."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from fleet.models import Finding
from scheduling.models import Need
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs import need as planning
from scheduling.planning.needs.dates import KnownDates, NeedDates, dates_of_needs
from scheduling.planning.needs.facts import ForecastFacts
from scheduling.planning.needs.pricing import Priced, price
from scheduling.services.needs.facts import facts_of_forecasts
from scheduling.services.words.tasks import task_named


def planning_need(need: Need, *, key: str, today: date) -> planning.Need:
    """The need in the words of the planning room."""
    return planning_needs([need], keys=[key], today=today)[0]


def planning_needs(needs: Sequence[Need], *, keys: Sequence[str], today: date) -> list[planning.Need]:
    """Needs in the words of the planning room, each with the caller's key of it."""
    dates = dates_of_needs(_known_dates(needs, today))
    return [_planning_need(need, key, own, today) for need, key, own in zip(needs, keys, dates, strict=True)]


def _known_dates(needs: Sequence[Need], today: date) -> list[KnownDates]:
    forecasts = [row for need in needs for row in (need.forecast, need.lag_forecast) if row is not None]
    facts = facts_of_forecasts(forecasts, today)
    return [_known_dates_of(need, facts, today) for need in needs]


def _known_dates_of(need: Need, facts: Mapping[int, ForecastFacts], today: date) -> KnownDates:
    finding = need.finding
    return KnownDates(
        forecast=facts[need.forecast_id] if need.forecast_id is not None else None,
        lag_forecast=facts[need.lag_forecast_id] if need.lag_forecast_id is not None else None,
        is_seen=finding is not None and need.position_id is not None,
        is_confirmed=finding is not None and finding.state == Finding.State.CONFIRMED,
        due_in_days=(need.due_on - today).days if need.due_on is not None else None,
    )


def _planning_need(need: Need, key: str, dates: NeedDates, today: date) -> planning.Need:
    first, last = _allowed(need, today)
    return planning.Need(
        key=key,
        site=str(need.site_id),
        unit=str(need.unit_id),
        kind=planning.NeedKind(need.kind),
        position=str(need.position_id or ""),
        label=need.label if need.position_id else task_named(need),
        minutes=float(need.minutes),
        skills=frozenset(need.skills),
        urgent=need.is_urgent,
        not_before_day=first,
        deadline_day=last,
        quantile_days=dates.quantile_days,
        remaining_share=dates.remaining_share,
        price=need.price,
        late_cost_per_day=need.late_cost_per_day,
        fresh_life_days=dates.fresh_life_days,
        exhausted_quantile_days=dates.exhausted_quantile_days,
        exhausted_cost_per_day=need.exhausted_cost_per_day,
    )


def exhausted_by(need: Need, *, today: date, day: date) -> float | None:
    """Probability (0-1) that what a change throws away is exhausted by a day; None of other work."""
    return all_exhausted_by([need], today=today, day=day)[0]


def all_exhausted_by(needs: Sequence[Need], *, today: date, day: date) -> list[float | None]:
    """`exhausted_by` of many needs, which together cost little more than one."""
    quantiles: list[tuple[float, ...]] = [()] * len(needs)
    wearing = [k for k, need in enumerate(needs) if need.kind in (Need.Kind.REPLACE, Need.Kind.ROTATE)]
    for k, known in zip(wearing, _known_dates([needs[k] for k in wearing], today), strict=True):
        quantiles[k] = known.own_quantile_days
    ahead = [float(max((day - today).days, 0))]
    found: list[float | None] = [None] * len(needs)
    for width in {len(days) for days in quantiles if days}:
        rows = [k for k, days in enumerate(quantiles) if len(days) == width]
        by_then = planning.exhausted_probability([quantiles[k] for k in rows], ahead)[:, 0]
        for k, probability in zip(rows, by_then.tolist(), strict=True):
            found[k] = probability
    return found


def _allowed(need: Need, today: date) -> tuple[int | None, int | None]:
    """First and last allowed day from today; a deadline that has gone by is negative, and forbids no day any more."""
    first = (need.not_before - today).days if need.not_before is not None else None
    last = (need.deadline - today).days if need.deadline is not None else None
    if last is not None and last < 0:
        return None, last
    if first is not None and last is not None and first > last:
        return None, None
    return (None if first is not None and first <= 0 else first), last


def price_needs(needs: Sequence[Need], *, policy: ServicePolicy, today: date) -> None:
    """Write each need's cost-by-date curve, its best day and the money into its row; nothing is saved.

    Parameters
    ----------
    needs
        Rows, saved or not.
    policy
        Prices, risks and times.
    today
        First day of the curves, which reach over the weeks that visits are weighed for.
    """
    priced = price(planning_needs(needs, keys=[need.key for need in needs], today=today), policy=policy.planning)
    for need, money in zip(needs, priced, strict=True):
        need.curve_first_day = today
        need.cost_curve = list(money.curve)
        need.best_day = today + timedelta(days=money.best_day)
        need.reason = " ".join(filter(None, [need.reason, _money_sentence(need, policy.planning.currency)]))


def _money_sentence(need: Need, currency: str) -> str:
    """What a priced need's days cost; what is wasted and late speaks of parts, and a reading says what it is worth."""
    if need.reading_way or need.curve_first_day is None or need.best_day is None:
        return ""
    priced = Priced(tuple(need.cost_curve), (need.best_day - need.curve_first_day).days)
    return priced.sentence(today=need.curve_first_day, currency=currency)


def reason_without_money(need: Need, currency: str) -> str:
    """Why there is a need, as somebody at the unit can check it: without what its days would cost the company."""
    return need.reason.removesuffix(_money_sentence(need, currency)).strip()
