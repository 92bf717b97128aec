"""A visit that a site should get, with the reasons of each task on it."""

from __future__ import annotations

from dataclasses import dataclass

from scheduling.planning.travel.trips import Place


@dataclass(frozen=True, slots=True)
class BundlingSite:
    """A site, as far as choosing visits goes.

    Attributes
    ----------
    key
        As in ``Need.site``.
    place
        Where; None while that is not known, where the driving money of a visit is given.
    """

    key: str
    place: Place | None


@dataclass(frozen=True, slots=True)
class NeedChoice:
    """Why a need is on a visit, in money.

    Attributes
    ----------
    need
        Its key.
    best_day
        The day its own waste and lateness are least, days from today.
    cost_on_visit
        Expected waste and lateness on the visit's best day.
    waste_on_visit
        The part of it that is life thrown away.
    cost_of_waiting
        How much dearer its waste and lateness get in four more weeks; negative when waiting helps.
    saving
        What doing it on this visit saves over the cheapest other way: another visit of the site, or its own.
    exhausted_probability
        Probability (0-1) that it is exhausted by the visit; of a lead, that its lag is exhausted too.
    sentence
        The same for a person to read.
    """

    need: str
    best_day: int
    cost_on_visit: float
    waste_on_visit: float
    cost_of_waiting: float
    saving: float
    exhausted_probability: float
    sentence: str


@dataclass(frozen=True, slots=True)
class VisitProposal:
    """One visit a site should get.

    Attributes
    ----------
    site
        Its key.
    number
        0 for the site's next visit, 1 for the one after it. Only the next visit is one to route now.
    week
        Week it falls in, from today's (0).
    earliest_day, best_day, latest_day
        The due window and its cheapest day, days from today.
    needs
        Keys of what is done.
    choices
        Why, one for each need.
    urgent
        Whether any of them is, or has its deadline within the routed days.
    minutes
        Minutes on site.
    skills
        All that are needed.
    cost_by_day
        Expected cost (visit, waste, lateness; no driving) of making it on each day from today; infinite on a day on
        which it is not allowed.
    cost_if_unserved
        Expected cost, estimated driving included, of making it after those days instead.
    travel_cost
        Estimated driving money of the visit in a usual round.
    sentence
        Why now, for a person to read.
    """

    site: str
    number: int
    week: int
    earliest_day: int
    best_day: int
    latest_day: int
    needs: tuple[str, ...]
    choices: tuple[NeedChoice, ...]
    urgent: bool
    minutes: float
    skills: frozenset[str]
    cost_by_day: tuple[float, ...]
    cost_if_unserved: float
    travel_cost: float
    sentence: str
