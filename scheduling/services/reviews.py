"""The nightly review of the work at units: for which of them needs and visits are worked out anew.

What a need costs on each day, and what a visit does, is stored by the day of the calendar and read from today on
(`scheduling.services.visits.costs`, `scheduling.services.needs.waiting`), so that it stands while nothing changes. It
is worked out anew for a unit with news; on a day on which time alone changes something; every night for a site whose
visit is in the rounds to come, since somebody drives by what is said there; and for each once in `REVIEW_EVERY_DAYS`.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Final

from django.db import transaction
from django.db.models import Count, Max, QuerySet, Sum, TextField
from django.db.models.functions import Cast

from accounts.models import Company
from fleet.models import Forecast, Unit, UnitReview
from fleet.services.known import mark, mark_of_code, marks_of_items
from fleet.services.many_units import MOST_NAMED
from fleet.services.units.sites_not_known import is_of_nobody_named
from scheduling.models import Need, Plan, Stop, Visit, VisitAddition, VisitTask, WorkReview
from scheduling.services.policy import read_policy
from scheduling.services.travel import travel_cost_of_sites
from scheduling.services.visits.sites import sites_concerned

REVIEW_EVERY_DAYS: Final = 7
"""Every unit is looked at once in so many days, a share of them each night. Which needs are met together is weighed by
the week: until then the weeks that are weighed move on under what stands by one, and no further."""

_MAKES_ANSWERS: Final = ("planning", "services", "models")
"""Rooms of this package whose code says what the answers are."""

_STEP_OF_TRAVEL: Final = math.log(1.05)
"""A drive that costs a twentieth more is another one: roads that are learned anew each night move all a little."""

_AT_ONCE: Final = 500


class WorkReviews:
    """One night's review of a company: which units are due, and what is kept of them for the next one.

    What is known is asked before anything is worked out from it: what changes meanwhile is news for the next night.

    Attributes
    ----------
    units
        Ids of the units that are due; None: all of them.
    """

    def __init__(self, company: Company, now: datetime, *, at_all: bool = False) -> None:
        self._company, self._now, self._today = company, now, company.day_at(now)
        self._site_of, self._made_of = _known(company)
        self._ahead: dict[int, date] = {}
        due = set(self._site_of) if at_all else self._with_news()
        # Of a longer list the ids are slower to look up than the company they belong to.
        is_whole = len(due) == len(self._site_of) or len(due) > min(MOST_NAMED, len(self._site_of) // 2)
        self._due = set(self._site_of) if is_whole else due
        self.units: list[int] | None = None if is_whole else sorted(due)

    @property
    def sites(self) -> set[int] | None:
        """Ids of the sites whose visits are proposed anew; None: all. To be asked when the needs are stored."""
        if self.units is None:
            return None
        sites = sites_concerned(company=self._company, units=self.units)
        # A visit to a site at which no unit stands is nobody's news.
        left_behind = Visit.objects.of_company(self._company).filter(state__in=Visit.LIVE, site__units__isnull=True)
        return sites | set(left_behind.values_list("site_id", flat=True))

    def change_ahead(self, unit: int, day: date) -> None:
        """Hear of the day on which time alone changes what a unit calls for."""
        self._ahead[unit] = day

    def keep(self) -> None:
        """Keep what the needs and visits that are stored now were made from, and until when they hold."""
        if not self._due:
            return
        left = _left(self._company, self._site_of, self.units)
        again = self._again_at()
        rows = [
            WorkReview(
                unit_id=unit,
                made_of=self._made_of[unit],
                left=left[unit],
                reviewed_on=self._today,
                again_at=again[unit],
            )
            for unit in sorted(self._due)
        ]
        with transaction.atomic():
            # A unit that was deleted while it was looked at is no longer there to be locked.
            lock = Unit.objects.of_company(self._company).order_by("pk").select_for_update(no_key=True)
            if self.units is not None:
                lock = lock.filter(pk__in=self.units)
            present = set(lock.values_list("pk", flat=True))
            WorkReview.objects.bulk_create(
                [row for row in rows if row.unit_id in present],
                batch_size=_AT_ONCE,
                update_conflicts=True,
                unique_fields=["unit"],
                update_fields=["made_of", "left", "reviewed_on", "again_at"],
            )

    def _with_news(self) -> set[int]:
        """Units of which something new is known, whose rows are not as they were left, or whose day has come."""
        left = _left(self._company, self._site_of)
        stops = Stop.objects.of_company(self._company).filter(
            round__day__gte=self._today, round__plan__state__in=[Plan.State.DRAFT, Plan.State.PUBLISHED]
        )
        driven_to = set(stops.values_list("visit__site_id", flat=True))
        quiet = set()
        seen: Any = WorkReview.objects.of_company(self._company).filter(again_at__gt=self._now)
        for unit, made_of, unit_left, reviewed_on in seen.values_list("unit_id", "made_of", "left", "reviewed_on"):
            if (
                made_of == self._made_of.get(unit)
                and unit_left == left.get(unit)
                and (reviewed_on == self._today or self._site_of.get(unit) not in driven_to)
            ):
                quiet.add(unit)
        return set(self._site_of) - quiet

    def _again_at(self) -> dict[int, datetime]:
        """Unit -> when it is looked at again, whatever is new."""
        of_sites = self._moments_of_visits()
        of_units = self._days_of_units()
        again = {}
        for unit in self._due:
            site = self._site_of[unit]
            days = [self._turn(site), *of_units.get(unit, ())]
            if unit in self._ahead:
                days.append(self._ahead[unit])
            moments = [self._begins(day) for day in days if day > self._today] + of_sites.get(site, [])
            again[unit] = min(moment for moment in moments if moment > self._now)
        return again

    def _turn(self, site: int) -> date:
        """The next day on which the units of a site have their turn."""
        return self._today + timedelta(days=REVIEW_EVERY_DAYS - (self._today.toordinal() + site) % REVIEW_EVERY_DAYS)

    def _begins(self, day: date) -> datetime:
        return datetime.combine(day, time(), tzinfo=self._company.zone)

    def _days_of_units(self) -> dict[int, list[date]]:
        """Days that stand beside a unit: from when it is in use, until when, and what a person said of its work."""
        days: dict[int, list[date]] = defaultdict(list)
        units: Any = Unit.objects.of_company(self._company).values_list("pk", "commissioned_on", "retired_on")
        for unit, *of_unit in units:
            days[unit] += filter(None, of_unit)
        # What has to be done within the days that are routed is in the next rounds whatever it costs.
        routed = timedelta(days=read_policy(company=self._company).planning.horizon_days - 1)
        limits = Need.objects.of_company(self._company).filter(state=Need.State.OPEN, deadline__isnull=False)
        stated: Any = limits.values_list("unit_id", "deadline")
        for unit, deadline in stated:
            days[unit] += [deadline - routed, deadline + timedelta(days=1)]
        return days

    def _moments_of_visits(self) -> dict[int, list[datetime]]:
        """Site -> moments at which what was told to its client, or locked, has gone by."""
        moments: dict[int, list[datetime]] = defaultdict(list)
        live: Any = Visit.objects.of_company(self._company).filter(state__in=Visit.LIVE)
        dated = live.exclude(state=Visit.State.PROPOSED, locked_start=None)
        for visit in dated.only("site_id", "state", "appointment_at", "offers", "locked_start", "updated_at"):
            at = moments[visit.site_id]
            at += [datetime.fromisoformat(offer["opens_at"]) for offer in visit.offers]
            at += [visit.locked_start] if visit.locked_start is not None else []
            of_day = visit.updated_at if visit.state in Visit.UNDER_WAY else visit.appointment_at
            if of_day is not None:
                at.append(self._begins(self._company.day_at(of_day) + timedelta(days=1)))
        # Just after: what opens at a moment has not gone by then.
        return {site: [moment + timedelta(microseconds=1) for moment in at] for site, at in moments.items()}


def _known(company: Company) -> tuple[dict[int, int], dict[int, str]]:
    """Unit -> its site, and unit -> mark of all that its needs and the visit to its site are made from.

    What the nightly review of findings saw of each unit is part of it, so that it comes after that one.
    """
    policy = read_policy(company=company)
    common = (
        mark_of_code(Path(__file__).resolve().parents[1], _MAKES_ANSWERS),
        sorted(policy.to_mapping().items()),
        (company.time_zone, company.currency),
        marks_of_items(company),
    )
    of_all = mark(common)
    travel = travel_cost_of_sites(company=company, policy=policy)
    seen: Any = UnitReview.objects.of_company(company).values_list("unit_id", "findings_of", "findings_left")
    findings = {unit: row for unit, *row in seen}
    newest = Forecast.objects.of_company(company).filter(is_latest=True).order_by().values("position__unit_id")
    totals: Any = newest.annotate(n=Count("pk"), total=Sum("pk")).values_list("position__unit_id", "n", "total")
    forecasts = {unit: row for unit, *row in totals}
    units: Any = Unit.objects.of_company(company).values_list(
        "pk", "site_id", "commissioned_on", "retired_on", "site__is_known", "site__client__name"
    )
    site_of, made_of = {}, {}
    for unit, site, *row, client in units:
        site_of[unit] = site
        made_of[unit] = mark(
            (
                of_all,
                site,
                row,
                is_of_nobody_named(client),
                _step(travel[site]),
                findings.get(unit),
                forecasts.get(unit),
            )
        )
    return site_of, made_of


def _step(cost: float) -> int:
    """A price of driving, as far as it counts."""
    return round(math.log(max(cost, 0.01)) / _STEP_OF_TRAVEL)


def _left(company: Company, site_of: Mapping[int, int], units: Sequence[int] | None = None) -> dict[int, str]:
    """Unit -> mark of its needs and of the visits to its site as they are stored; of all units, or of some."""
    chosen = list(site_of) if units is None else list(units)
    sites = {site_of[unit] for unit in chosen}

    def mine(rows: Any, path: str, ids: Iterable[int]) -> "QuerySet[Any]":
        rows = rows.of_company(company).order_by()
        return rows if units is None else rows.filter(**{f"{path}__in": list(ids)})

    needs: dict[int, list[Any]] = defaultdict(list)
    kept = mine(Need.objects.filter(state__in=[Need.State.OPEN, Need.State.DONE]), "unit_id", chosen)
    counted = kept.values("unit_id", "state").annotate(
        n=Count("pk"),
        total=Sum("pk"),
        changed=Cast(Max("updated_at"), TextField()),
        closed=Cast(Max("closed_at"), TextField()),
        forecasts=Count("forecast"),
        findings=Count("finding"),
        sites=Sum("site_id"),
    )
    for unit, *row in counted.order_by("unit_id", "state").values_list(
        "unit_id", "state", "n", "total", "changed", "closed", "forecasts", "findings", "sites"
    ):
        needs[unit].append([str(value) for value in row])
    visits: dict[int, list[Any]] = defaultdict(list)
    live = mine(Visit.objects.filter(state__in=Visit.LIVE), "site_id", sites)
    for site, *row in live.order_by("pk").values_list(
        "site_id",
        "pk",
        "state",
        Cast("updated_at", TextField()),
        "revision",
        Cast("appointment_at", TextField()),
        Cast("locked_start", TextField()),
        "locked_installer__is_active",
    ):
        visits[site].append([str(value) for value in row])
    for model, extra in ((VisitTask, ()), (VisitAddition, ("state",))):
        of_live = mine(model.objects.filter(visit__state__in=Visit.LIVE), "visit__site_id", sites)
        found = of_live.values("visit__site_id", *extra).annotate(n=Count("pk"), total=Sum("pk"))
        for site, *row in found.order_by("visit__site_id", *extra).values_list("visit__site_id", *extra, "n", "total"):
            visits[site].append(row)
    return {unit: mark((needs.get(unit), visits.get(site_of[unit]))) for unit in chosen}
