"""Simulate sites over months under a way of deciding, with the same chances for every way.

What is real: tasks come from `tasks_of_unit`, their dates from the stored forecasts, visits from `bundle_visits`, money
from the policy. What is simplified:

* A date is drawn from the stored distribution; a new cartridge lasts as its position's fresh life says. Lead and lag
  that stand there today are early or late together; everything else is independent.
* A visit shows every cartridge as it is, and what is found exhausted is changed. Readings in between come in an even
  interval and show a stage that is exhausted; short of that they teach only that it is not.
* Everybody goes on the day that is best for the site: rounds, absences, stock and access hours do not interfere, and
  driving is the estimate for a usual round.
* A decision is made on the first day, after each visit, when a reading shows something, when a unit has gone unread for
  long, when a planned day comes near that readings may still change, and otherwise every 13 weeks.
* Positions without a forecast wear out nothing. Findings of today are dealt with on the first visit; no new ones come.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.outlook.decide import Decision, by_calendar, planned
from scheduling.planning.outlook.inputs import OutlookSite, Span, Way
from scheduling.planning.outlook.sites import MEASURES, SimulatedSite
from scheduling.planning.outlook.units import Chance

#: So many sites in so many draws are decided on together, which keeps the tables of planning in memory.
_BLOCK = 1_500

#: Cartridges that one position may go through in an outlook, each with a chance of its own.
_GENERATIONS = 64

Progress = Callable[[float], object]


def simulate(
    sites: Sequence[OutlookSite],
    way: Way,
    span: Span,
    *,
    prices: ServicePolicy,
    travel_costs: Sequence[float],
    way_travel_costs: Sequence[float] | None = None,
    progress: Progress | None = None,
) -> NDArray[np.float64]:
    """Simulate each site in each draw.

    Parameters
    ----------
    sites
        As planning knows them on the first day.
    way
        How visits are decided on.
    span
        Days, draws and seed. A site has the same chances under every way, whichever other sites there are.
    prices
        What money is counted by.
    travel_costs
        Driving money of a visit to each site, by those prices.
    way_travel_costs
        The same as the way's own policy estimates it; None: the same.
    progress
        Told the share that is done.

    Returns
    -------
    array ``(draws, sites, measures)`` in the order of `MEASURES`: visits, cartridges, days, money.
    """
    result = np.zeros((span.draws, len(sites), len(MEASURES)))
    driving = travel_costs if way_travel_costs is None else way_travel_costs
    pairs = [(draw, at) for at in range(len(sites)) for draw in range(span.draws)]
    for low in range(0, len(pairs), _BLOCK):
        block = pairs[low : low + _BLOCK]
        chances = {at: _chances(sites[at], span) for at in {at for _, at in block}}
        simulated = [
            SimulatedSite.begin(
                sites[at],
                span=span,
                prices=prices,
                travel_cost=float(travel_costs[at]),
                chance=_chance_of(chances[at][draw]),
            )
            for draw, at in block
        ]
        firsts = [float(chances[at][draw, -1, -1]) for draw, at in block]
        _run(simulated, way, span, [float(driving[at]) for _, at in block], firsts)
        for (draw, at), site in zip(block, simulated, strict=True):
            result[draw, at] = site.tally.row()
        if progress is not None:
            progress(min(low + _BLOCK, len(pairs)) / len(pairs))
    return result


def _chances(site: OutlookSite, span: Span) -> NDArray[np.float64]:
    """``(draws, positions + 1, generations)``; the last row says where in a fixed interval the site begins."""
    positions = sum(len(unit.facts.positions) for unit in site.units)
    seed = np.random.SeedSequence([span.seed, site.key])
    return np.random.default_rng(seed).random((span.draws, positions + 1, _GENERATIONS))


def _chance_of(table: NDArray[np.float64]) -> Chance:
    return lambda position, generation: float(table[position, generation % _GENERATIONS])


def _run(
    sites: Sequence[SimulatedSite], way: Way, span: Span, travel_costs: Sequence[float], firsts: Sequence[float]
) -> None:
    days = [0.0] * len(sites)
    active = list(range(len(sites)))
    while active:
        decisions = _decide([sites[k] for k in active], [days[k] for k in active], way, travel_costs, firsts, active)
        for k, decision in zip(active, decisions, strict=True):
            days[k] = _go_on(sites[k], days[k], decision)
        active = [k for k in active if days[k] < span.end]
    for site in sites:
        site.end()


def _decide(
    sites: Sequence[SimulatedSite],
    days: Sequence[float],
    way: Way,
    travel_costs: Sequence[float],
    firsts: Sequence[float],
    active: Sequence[int],
) -> list[Decision]:
    if way.interval_days is None:
        return planned(sites, days, policy=way.policy, travel_costs=[travel_costs[k] for k in active])
    interval = way.interval_days
    return [
        by_calendar(site, day, interval_days=interval, first_visit=math.floor(firsts[k] * interval), policy=way.policy)
        for site, day, k in zip(sites, days, active, strict=True)
    ]


def _go_on(site: SimulatedSite, day: float, decision: Decision) -> float:
    """Live through the days up to the next decision; answer its day."""
    news_on = site.seen_on()
    until = min(decision.visit_on, decision.ask_on, max(news_on, day + 1.0), float(site.span.end))
    if until >= site.span.end:
        return until
    if until == decision.visit_on:
        site.visit(until, decision.work)
        # the day is over: nobody comes twice on one
        return until + 1.0
    site.read_until(until)
    return max(until, day + 1.0)
