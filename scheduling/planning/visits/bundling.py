r"""Which needs of a site are done together, on which visits of the coming weeks.

The choice is between *visit patterns*: any set of weeks. A pattern costs its visits, plus each need's expected waste
and lateness in the week of the pattern that suits it best. Every one of the 2^weeks patterns is weighed, not by listing
them (26 weeks have 67 million) but by a shortest path from visit to visit, which finds the same least-cost pattern: a
need whose cost falls towards one best week and rises after it is always met by one of the two visits around that week.
So the answer is exact

* for every pattern of weekly visits, with any number of visits,
* as long as each need's cost has one valley (the curves of :mod:`scheduling.planning.needs` are convex, deadlines and
  first allowed days keep them so),
* and each need is met once. A cartridge that will not last to the end of the weeks is met again by a successor whose
  date is counted from the best week of the one before it. Who goes earlier than that pays for the time by which all
  that follows comes sooner (:mod:`scheduling.planning.visits.early`); that price is an approximation, and the only one.

A visit is paid for by the time it lasts: with V the price of a visit and T the usual interval between visits (the life
of what wears out first at the site), waiting a week saves V/T. Otherwise putting everything off past the last week
would look free.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import FloatArray, Need
from scheduling.planning.policy import Policy
from scheduling.planning.travel.trips import Place, RoadModel
from scheduling.planning.visits.days import DaySettings, MemberDays, VisitDays, weigh_days
from scheduling.planning.visits.members import Members, WeekChoices, choose_weeks, members_of_visits
from scheduling.planning.visits.patterns import IntArray, best_patterns
from scheduling.planning.visits.proposal import BundlingSite, NeedChoice, VisitProposal
from scheduling.planning.visits.rows import NeedRows
from scheduling.planning.visits.sentences import explain, pace, summary
from scheduling.planning.visits.travel_cost import travel_cost_estimate


def bundle_visits(
    needs: Sequence[Need],
    sites: Sequence[BundlingSite],
    *,
    policy: Policy,
    bases: Sequence[Place] = (),
    days: int | None = None,
    cost_days: int | None = None,
    road: RoadModel | None = None,
    travel_costs: Sequence[float] | None = None,
) -> list[VisitProposal]:
    """Choose each site's visits of the coming weeks and what is done on each.

    Parameters
    ----------
    needs
        All needs of all sites, keys unique.
    sites
        Every site named by a need; sites without needs still count as neighbours.
    policy
        Prices, risks and times.
    bases
        Where rounds start; without any, only the drive between neighbours is counted.
    days
        How many days are routed; None: the policy's horizon.
    cost_days
        How many days ``cost_by_day`` tells of, within the weeks and four more; None: those that are routed.
    road
        How driving is estimated; None: the default model.
    travel_costs
        Driving money of a visit to each site, where it is known already; None: it is estimated from places and bases.

    Returns
    -------
    Proposals ordered by site as given, then week. A site whose needs are all best left alone has none.

    Raises
    ------
    PlanningError
        On a need of an unknown site, or a key given twice; on a site of unknown place where no driving money is given.
    """
    routed_days = policy.horizon_days if days is None else days
    if routed_days < 1:
        raise PlanningError("days", f"must be at least 1, not {routed_days}.")
    site_number = _number_sites(needs, sites)
    if not needs:
        return []
    ordered = sorted(needs, key=lambda need: site_number[need.site])
    rows, site_of_row = _rows_by_site(ordered, site_number, policy, routed_days)
    present, first_row = np.unique(site_of_row, return_index=True)

    travel = np.asarray(
        _travel_of_sites(sites, bases, policy, road) if travel_costs is None else travel_costs, dtype=np.float64
    )[present]
    visit_price = policy.visit_price(0.0) + travel
    site_number_of_row = np.searchsorted(present, site_of_row)
    interval_weeks = _intervals(ordered, rows, first_row, policy)
    chosen = _weeks_of_rows(rows, site_number_of_row, first_row, visit_price, interval_weeks, policy.bundling_weeks)
    members = members_of_visits(rows, chosen.week, site_of_row=site_number_of_row, weeks=policy.bundling_weeks)
    if members.row.size == 0:
        return []
    visit_days, member_days = weigh_days(
        rows,
        members,
        DaySettings(policy, routed_days, routed_days if cost_days is None else cost_days),
        visit_price=visit_price,
        travel_cost=travel,
        interval_days=7.0 * interval_weeks,
    )
    writer = _Writer(
        needs=ordered,
        sites=[sites[k] for k in present],
        need_of_row=rows.need,
        saving=chosen.saving,
        members=members,
        visit_days=visit_days,
        member_days=member_days,
        visit_price=visit_price,
        travel_cost=travel,
        policy=policy,
        needs_of_site={site: list(own) for site, own in groupby(ordered, key=lambda need: need.site)},
    )
    return [writer.proposal(visit) for visit in range(members.first.size)]


def _rows_by_site(
    needs: Sequence[Need], site_number: Mapping[str, int], policy: Policy, days: int
) -> tuple[NeedRows, IntArray]:
    """Rows of the needs in the order of their sites, and the number of the site of each."""
    rows = NeedRows.of(needs, policy, days)
    site_of_row = np.array([site_number[needs[k].site] for k in rows.need], dtype=np.int64)
    order = np.argsort(site_of_row, kind="stable")
    return rows.take(order), site_of_row[order]


def _number_sites(needs: Sequence[Need], sites: Sequence[BundlingSite]) -> dict[str, int]:
    """Key of every site to its place among them; the needs are of these sites, and no key appears twice."""
    site_number = {site.key: k for k, site in enumerate(sites)}
    if len(site_number) != len(sites):
        raise PlanningError("sites", "a site key appears twice; give each site once.")
    if len({need.key for need in needs}) != len(needs):
        raise PlanningError("needs", "a need key appears twice; give each need once.")
    for need in needs:
        if need.site not in site_number:
            raise PlanningError(f"{need.key}.site", f"{need.site!r} is not among the sites.")
    return site_number


def _travel_of_sites(
    sites: Sequence[BundlingSite], bases: Sequence[Place], policy: Policy, road: RoadModel | None
) -> FloatArray:
    """Driving money of a visit to each site, estimated from where they lie."""
    return travel_cost_estimate([_place(site) for site in sites], bases, policy=policy, road=road)


def _weeks_of_rows(
    rows: NeedRows,
    site_of_row: IntArray,
    first_row: IntArray,
    visit_price: FloatArray,
    interval_weeks: FloatArray,
    weeks: int,
) -> WeekChoices:
    """The week in which each row is met, by the least-cost pattern of visits to its site."""
    weekly = rows.weekly_costs(weeks)
    weekly += rows.cost_of_going_early(weekly, visit_price[site_of_row])
    visited = best_patterns(weekly, first_row, visit_price, interval_weeks)
    return choose_weeks(weekly, visited=visited, site_of_row=site_of_row, visit_price=visit_price)


def _place(site: BundlingSite) -> Place:
    if site.place is None:
        raise PlanningError(f"{site.key}.place", "is not known; give travel_costs.")
    return site.place


def _intervals(ordered: Sequence[Need], rows: NeedRows, first_row: IntArray, policy: Policy) -> FloatArray:
    """Weeks between visits to each site: the life of what wears out first there, or the policy's where none is told."""
    lives = np.array([need.fresh_life_days for need in ordered])[rows.need] / 7.0
    usual = policy.visit_interval_weeks
    shortest = np.minimum.reduceat(np.where(lives > 0.0, lives, np.inf), first_row)
    return np.where(np.isfinite(shortest), np.clip(shortest, usual / 4.0, usual * 2.0), usual)


@dataclass(frozen=True, slots=True, eq=False)
class _Writer:
    """Puts what was weighed into proposals."""

    needs: Sequence[Need]
    sites: Sequence[BundlingSite]
    need_of_row: IntArray
    saving: FloatArray
    members: Members
    visit_days: VisitDays
    member_days: MemberDays
    visit_price: FloatArray
    travel_cost: FloatArray
    policy: Policy
    needs_of_site: Mapping[str, Sequence[Need]]

    def proposal(self, visit: int) -> VisitProposal:
        """The visit of that number, with the reasons of each of its tasks."""
        members, days, currency = self.members, self.visit_days, self.policy.currency
        site = int(members.site[visit])
        number = visit - int(np.searchsorted(members.site, site))
        end = int(members.first[visit + 1]) if visit + 1 < members.first.size else members.row.size
        own = range(int(members.first[visit]), end)
        choices = tuple(self._choice(member, int(days.best[visit])) for member in own)
        needs = [self._need(member) for member in own]
        sentence = summary(choices, float(self.visit_price[site]), int(days.best[visit]), currency)
        if number == 0:
            sentence += pace(self.needs_of_site[self.sites[site].key], float(self.visit_price[site]), currency)
        return VisitProposal(
            site=self.sites[site].key,
            number=number,
            week=int(members.week[visit]),
            earliest_day=int(days.earliest[visit]),
            best_day=int(days.best[visit]),
            latest_day=int(days.latest[visit]),
            needs=tuple(need.key for need in needs),
            choices=choices,
            urgent=bool(days.is_forced[visit]),
            minutes=self.policy.removal_minutes + sum(need.minutes for need in needs),
            skills=frozenset().union(*(need.skills for need in needs)),
            cost_by_day=tuple(days.by_day[visit].tolist()),
            cost_if_unserved=float(days.if_left[visit]),
            travel_cost=float(self.travel_cost[site]),
            sentence=sentence,
        )

    def _need(self, member: int) -> Need:
        return self.needs[int(self.need_of_row[self.members.row[member]])]

    def _choice(self, member: int, visit_day: int) -> NeedChoice:
        need, days = self._need(member), self.member_days
        choice = NeedChoice(
            need=need.key,
            best_day=int(days.own_best[member]),
            cost_on_visit=float(days.cost[member]),
            waste_on_visit=float(days.waste[member]),
            cost_of_waiting=float(days.waiting[member]),
            saving=float(self.saving[self.members.row[member]]),
            exhausted_probability=float(days.probability[member]),
            sentence="",
        )
        exhausted_probability = float(days.exhausted_probability[member])
        sentence = explain(
            need, choice, visit_day=visit_day, lead_exhausted=exhausted_probability, currency=self.policy.currency
        )
        return replace(choice, sentence=sentence)
