"""What a policy would do to this company over the coming months, as jobs: a preview of a change, and a frontier."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, Final

import numpy as np
from django.db.models import Count, Max
from numpy.typing import NDArray

from accounts.jobs import claims
from accounts.jobs.models import Job
from accounts.language import gettext_noop
from accounts.models import Company, Membership
from fleet.models import Reading
from scheduling.models import Installer
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.outlook.compare import compare, frontier
from scheduling.planning.outlook.inputs import OutlookSite, OutlookUnit, Span, Way
from scheduling.planning.outlook.simulate import simulate
from scheduling.planning.policy import Policy
from scheduling.planning.travel.trips import Place, RoadModel
from scheduling.planning.visits.travel_cost import travel_cost_estimate
from scheduling.services.needs.facts import read_facts
from scheduling.services.policy import changed_settings, merge_policy, read_policy, read_settings
from scheduling.services.travel import place_of, road_model
from scheduling.services.words import rounds as words

PREVIEW: Final = "policy_preview"
FRONTIER: Final = "policy_frontier"

PRESENT, CHANGED = gettext_noop("present"), gettext_noop("changed")

#: A year of one site in one draw takes about a fortieth of a second: so many in one simulation, and between so many
#: draws of each site. Of a larger company some sites stand for all. Half as many draws leave the totals of a company
#: with tens of sites where they are, and somebody waits for the answer.
_SITE_YEARS, _FEWEST_DRAWS, _MOST_DRAWS, MOST_SITES = 500, 8, 100, 400

#: The half year before what is counted, in which fixed intervals and dear policies settle.
_SETTLE_DAYS = 182

#: Prices of bad water, as multiples of the company's, at which the curve of its policy is drawn.
BAD_WATER_FACTORS = (0.25, 0.5, 1.0, 2.0, 4.0)
INTERVALS = {3: 91, 6: 182, 12: 365}

#: Whose readings come in an interval of their own: so many in half a year; common practice, no source.
_READ_DAYS, _LEAST_READINGS = 182, 6


@dataclass(frozen=True, slots=True)
class OutlookFleet:
    """A company's sites as an outlook starts from them.

    Attributes
    ----------
    sites
        Those that are simulated.
    places, bases, road
        Where those are (None: not known), where rounds start, and how driving is estimated.
    site_count, unit_count
        Of the whole company.
    undated_positions
        Positions of the simulated sites without a forecast, which are never exhausted in an outlook.
    """

    sites: Sequence[OutlookSite]
    places: Sequence[Place | None]
    bases: Sequence[Place]
    road: RoadModel
    site_count: int
    unit_count: int
    undated_positions: int

    def travel_costs(self, policy: Policy) -> list[float]:
        """Driving money of a visit to each simulated site by this policy."""
        costs = travel_cost_estimate(self.places, self.bases, policy=policy, road=self.road)
        return [float(cost) for cost in costs]

    def draws(self) -> int:
        """How often each site is simulated."""
        return int(min(max(_SITE_YEARS // max(len(self.sites), 1), _FEWEST_DRAWS), _MOST_DRAWS))


def start_preview_job(
    *,
    company: Company,
    by: Membership | None,
    now: datetime,
    changes: Mapping[str, Any],
    counted_by: str = PRESENT,
    seed: int = 0,
) -> Job:
    """Start the job that simulates a year of the present policy and of a changed one; nothing is stored of the change.

    Parameters
    ----------
    company, by, now
        Whose policy, who asks, and when.
    changes
        Settings to change, as `change_policy` takes them.
    counted_by
        Whose prices count the money of both, 'present' or 'changed': the first shows what other decisions are worth.
    seed
        Of the chances.

    Raises
    ------
    InvalidInput
        When a setting is unknown, of the wrong type or out of range; no job is started then.
    Conflict
        When a preview of this company is being made already.
    """
    settings = changed_settings(settings=read_settings(company=company), changes=changes)
    merge_policy(settings=settings, currency=company.currency)
    parameters = {"changes": dict(changes), "counted_by": counted_by, "seed": seed}
    return claims.start_job(company=company, by=by, kind=PREVIEW, parameters=parameters, now=now)


def start_frontier_job(*, company: Company, by: Membership | None, now: datetime, seed: int = 0) -> Job:
    """Start the job that holds the policy, at several prices of bad water, against fixed intervals.

    Raises
    ------
    Conflict
        When a frontier of this company is being made already.
    """
    return claims.start_job(company=company, by=by, kind=FRONTIER, parameters={"seed": seed}, now=now)


def preview_chunk(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do the job of a preview."""
    return preview(
        company=work.company,
        now=work.now,
        changes=work.parameters["changes"],
        counted_by=work.parameters["counted_by"],
        seed=work.parameters["seed"],
        progress=work.progress,
    )


def frontier_chunk(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do the job of a frontier."""
    return policy_frontier(company=work.company, now=work.now, seed=work.parameters["seed"], progress=work.progress)


def preview(
    *,
    company: Company,
    now: datetime,
    changes: Mapping[str, Any],
    counted_by: str = PRESENT,
    seed: int = 0,
    progress: Callable[[float, str], object] | None = None,
) -> dict[str, Any]:
    """A year of the present policy and of a changed one, side by side, with the same chances; nothing is stored.

    Returns
    -------
    dict
        'present', 'changed' and 'difference', each measure of `MEASURES` to its p10, p50, p90 and mean, with the days
        and sites they are of.
    """
    today = company.day_at(now)
    present = read_policy(company=company)
    settings = changed_settings(settings=read_settings(company=company), changes=changes)
    changed = merge_policy(settings=settings, currency=company.currency)
    fleet = read_fleet(company=company, today=today)
    span = Span(today, draws=fleet.draws(), seed=seed)
    prices = changed if counted_by == CHANGED else present
    outcomes = _simulated(
        [Way(PRESENT, present), Way(CHANGED, changed)], fleet=fleet, span=span, prices=prices, progress=progress
    )
    table = compare(outcomes[PRESENT], outcomes[CHANGED], seed=seed, sites=fleet.site_count)
    return {**_of(fleet, span, company), "counted_by": counted_by, "changes": sorted(changes), **table}


def policy_frontier(
    *,
    company: Company,
    now: datetime,
    seed: int = 0,
    progress: Callable[[float, str], object] | None = None,
) -> dict[str, Any]:
    """Visits against days at risk and money, a site and year: the policy at several prices, and fixed intervals.

    Money is counted by the company's own policy. Half a year is simulated before the year that counts.

    Returns
    -------
    dict
        'points' with the policy's curve by rising visits and the fixed intervals after it; 'not_above_curve' names the
        intervals that the curve does not lie below.
    """
    today = company.day_at(now)
    policy = read_policy(company=company)
    fleet = read_fleet(company=company, today=today)
    span = Span(today, settle_days=_SETTLE_DAYS, draws=max(fleet.draws() // 4, _FEWEST_DRAWS), seed=seed)
    curve = [Way(words.at_price_of_bad_water(x), _at_price(policy, x)) for x in BAD_WATER_FACTORS]
    fixed = [Way(words.every_months(months), policy, interval_days=days) for months, days in INTERVALS.items()]
    outcomes = _simulated([*curve, *fixed], fleet=fleet, span=span, prices=policy, progress=progress)
    points = frontier(
        {way.name: outcomes[way.name] for way in curve}, {way.name: outcomes[way.name] for way in fixed}, days=span.days
    )
    return {
        **_of(fleet, span, company),
        "points": [{**asdict(point), "is_above_curve": point.is_above_curve} for point in points],
        "not_above_curve": [point.name for point in points if point.is_above_curve is False],
    }


def read_fleet(*, company: Company, today: date) -> OutlookFleet:
    """Read a company's units as planning knows them today; of a large company, evenly chosen sites."""
    facts = read_facts(company=company, today=today)
    readings = _reading_intervals(company, today)
    units_of: dict[int, list[OutlookUnit]] = defaultdict(list)
    for unit in facts.facts:
        interval, ago = readings.get(unit.key, (None, 0.0))
        row = OutlookUnit(unit, reading_interval_days=interval, last_read_days_ago=ago)
        units_of[facts.units[unit.key].site_id].append(row)
    keys = sorted(units_of)
    chosen = keys if len(keys) <= MOST_SITES else [keys[len(keys) * k // MOST_SITES] for k in range(MOST_SITES)]
    site_of = {unit.site_id: unit.site for unit in facts.units.values()}
    bases = Installer.objects.of_company(company).filter(is_active=True).order_by("pk")
    return OutlookFleet(
        sites=[OutlookSite(key, tuple(units_of[key])) for key in chosen],
        places=[place_of(site_of[key]) for key in chosen],
        bases=[Place(one.home_latitude, one.home_longitude) for one in bases],
        road=road_model(company=company),
        site_count=len(keys),
        unit_count=len(facts.facts),
        undated_positions=sum(
            position.forecast is None for key in chosen for unit in units_of[key] for position in unit.facts.positions
        ),
    )


def _reading_intervals(company: Company, today: date) -> dict[int, tuple[float, float]]:
    """Unit id to the usual days between its readings, and how long ago the last one was, where it is read often."""
    since = today - timedelta(days=_READ_DAYS)
    measured = Reading.objects.of_company(company).current().measured()
    recent = measured.filter(taken_at__date__gte=since, taken_at__date__lte=today)
    rows = recent.order_by().values_list("unit").annotate(Count("pk"), Max("taken_at"))
    return {
        unit: (max(_READ_DAYS / count, 1.0), float((today - company.day_at(last)).days))
        for unit, count, last in rows
        if count >= _LEAST_READINGS
    }


def _simulated(
    ways: Sequence[Way],
    *,
    fleet: OutlookFleet,
    span: Span,
    prices: ServicePolicy,
    progress: Callable[[float, str], object] | None,
) -> dict[str, NDArray[np.float64]]:
    travel_costs = fleet.travel_costs(prices.planning)
    outcomes = {}
    for number, way in enumerate(ways):

        def tell(share: float, number: int = number, name: str = way.name) -> None:
            if progress is not None:
                progress((number + share) / len(ways), words.simulating(name))

        tell(0.0)
        outcomes[way.name] = simulate(
            fleet.sites,
            way,
            span,
            prices=prices,
            travel_costs=travel_costs,
            way_travel_costs=fleet.travel_costs(way.policy.planning),
            progress=tell,
        )
    return outcomes


def _of(fleet: OutlookFleet, span: Span, company: Company) -> dict[str, Any]:
    return {
        "first_day": (span.first_day + timedelta(days=span.settle_days)).isoformat(),
        "days": span.days,
        "draws": span.draws,
        "seed": span.seed,
        "currency": company.currency,
        "sites": fleet.site_count,
        "sites_simulated": len(fleet.sites),
        "units": fleet.unit_count,
        "undated_positions": fleet.undated_positions,
    }


def _at_price(policy: ServicePolicy, factor: float) -> ServicePolicy:
    """The policy with its price of bad water taken so many times."""
    late = {
        stage: {use: factor * money for use, money in by_use.items()}
        for stage, by_use in policy.planning.late_cost_per_day.items()
    }
    return replace(policy, planning=replace(policy.planning, late_cost_per_day=late))
