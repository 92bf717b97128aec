"""Who says how long a drive takes: a table service, or the built-in model fitted to the company's own trips."""

import dataclasses
import math
import urllib.parse
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.conf import settings
from django.db import transaction

from accounts.models import Company
from accounts.services.companies import lock_company
from fleet.models import Site
from scheduling.models import Installer, RoadCalibration, Stop, Visit
from scheduling.planning import rounds
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.travel.calibrate import Calibration, calibrate_road
from scheduling.planning.travel.table_service import TableServiceTravel, TripCache
from scheduling.planning.travel.trips import GreatCircleTravel, Place, RoadModel, TravelProvider, great_circle_m
from scheduling.planning.visits.travel_cost import travel_cost_estimate
from scheduling.planning.words import travel as words

#: How far back trips are looked at: roads, vans and habits change.
_PAST = timedelta(days=365)
# one for the process: planning again tomorrow asks for few new trips
_TRIPS = TripCache()


def provider_for(*, company: Company, policy: ServicePolicy) -> TravelProvider:
    """Who makes the company's tables of trips: the table service where there is one and it is wanted."""
    row = RoadCalibration.objects.of_company(company).first()
    source = words.fitted_road_model(row.trips) if row is not None and row.road else words.road_model()
    built_in = GreatCircleTravel(_road(row), source)
    if not settings.TABLE_SERVICE_URL or not policy.rules.uses_table_service:
        return built_in
    return TableServiceTravel(
        settings.TABLE_SERVICE_URL,
        timeout_s=float(settings.TABLE_SERVICE_TIMEOUT_SECONDS),
        parking_s=round(built_in.road.parking_s),
        fallback=built_in,
        cache=_TRIPS,
    )


def table_service_host() -> str:
    """Name of the table service that the server is set up with; empty when there is none."""
    return urllib.parse.urlsplit(settings.TABLE_SERVICE_URL).netloc.rpartition("@")[2]


def road_model(*, company: Company) -> RoadModel:
    """The road model in use: fitted, or the default one."""
    return _road(RoadCalibration.objects.of_company(company).first())


def travel_cost_of_sites(*, company: Company, policy: ServicePolicy) -> dict[int, float]:
    """Money that driving to each of the company's sites costs in a usual round, by id."""
    sites = list(Site.objects.of_company(company).order_by("pk").values_list("pk", "latitude", "longitude"))
    bases = Installer.objects.of_company(company).filter(is_active=True).order_by("pk")
    costs = travel_cost_estimate(
        [
            None if latitude is None or longitude is None else Place(latitude, longitude)
            for _, latitude, longitude in sites
        ],
        [Place(installer.home_latitude, installer.home_longitude) for installer in bases],
        policy=policy.planning,
        road=road_model(company=company),
    )
    return {pk: float(cost) for (pk, _, _), cost in zip(sites, costs, strict=True)}


def sites_within_reach(*, company: Company) -> frozenset[int]:
    """Ids of the sites that some installer can drive to and back from within a shift, by the road model.

    Those left out cannot stand in any round: their location is unknown, or mistyped. Without installers every located
    site counts.
    """
    road = road_model(company=company)
    located = Site.objects.of_company(company).filter(latitude__isnull=False, longitude__isnull=False)
    rows: list[Any] = list(located.order_by().values_list("pk", "latitude", "longitude"))
    latitudes, longitudes = [row[1] for row in rows], [row[2] for row in rows]
    installers = list(Installer.objects.of_company(company).filter(is_active=True))
    is_reached = np.full(len(rows), not installers)
    for i in installers:
        metres = great_circle_m(i.home_latitude, i.home_longitude, latitudes, longitudes)
        is_reached |= 2.0 * road.driving_s(road.road_m(metres)) <= _longest_shift_s(i)
    return frozenset(row[0] for row, reached in zip(rows, is_reached, strict=True) if reached)


def _longest_shift_s(installer: Installer) -> int:
    starts, ends = (60 * t.hour + t.minute for t in (installer.shift_starts, installer.shift_ends))
    return 60 * (ends - starts + installer.max_overtime_minutes)


def place_of(site: Site) -> Place | None:
    """Where a site is; None while nobody knows, and no driving time may be made up for it."""
    return Place(*site.location) if site.location is not None else None


def traffic_of(policy: ServicePolicy) -> rounds.Traffic | None:
    """How driving is slowed down over the day; None when the policy says nothing of it."""
    return rounds.Traffic(policy.rules.traffic) if policy.rules.traffic else None


def calibrate_travel(*, company: Company, now: datetime) -> Calibration:
    """Fit the road model to the trips of the past year, from departing to beginning, and keep it.

    Looking twice at the same trips changes nothing.
    """
    trips = _past_trips(company, now)
    fit = calibrate_road([straight for straight, _ in trips], [seconds for _, seconds in trips])
    values = {
        "road": dataclasses.asdict(fit.model) if fit.fitted else {},
        "trips": fit.trips,
        "error_before": None if math.isnan(fit.error_before) else fit.error_before,
        "error_after": None if math.isnan(fit.error_after) else fit.error_after,
        "sentence": fit.sentence,
    }
    with transaction.atomic():
        lock_company(company.pk)
        row = RoadCalibration.objects.of_company(company).first() or RoadCalibration(company=company)
        if row.pk is None or any(getattr(row, name) != value for name, value in values.items()):
            for name, value in values.items():
                setattr(row, name, value)
            row.calibrated_at = now
            row.save()
    return fit


def _road(row: RoadCalibration | None) -> RoadModel:
    return RoadModel(**row.road) if row is not None and row.road else RoadModel()


def _past_trips(company: Company, now: datetime) -> list[tuple[float, float]]:
    """Straight metres and driven seconds of every leg whose two ends are known.

    A leg begins where the installer's visit before on that day ended, or at home.
    """
    visits = list(
        Visit.objects.of_company(company)
        .filter(departed_at__gte=now - _PAST, begun_at__isnull=False)
        .select_related("site", "installer")
        .order_by("departed_at", "pk")
    )
    planned = _who_drove(visits)
    last: dict[tuple[int, object], Visit] = {}
    legs: list[tuple[Place, Place, float]] = []
    for visit in visits:
        installer = planned.get(visit.pk) or visit.installer
        if installer is None or visit.departed_at is None or visit.begun_at is None:
            continue
        today = (installer.pk, visit.departed_at.astimezone(ZoneInfo(installer.time_zone)).date())
        before = last.get(today)
        last[today] = visit
        if before is not None and before.begun_at is not None and before.begun_at > visit.departed_at:
            continue  # two at once: one of the reports came late
        home = Place(installer.home_latitude, installer.home_longitude)
        start = place_of(before.site) if before is not None else home
        end = place_of(visit.site)
        seconds = (visit.begun_at - visit.departed_at).total_seconds()
        if start is not None and end is not None:
            legs.append((start, end, seconds))
    if not legs:
        return []
    straight = great_circle_m(
        [a.latitude_deg for a, _, _ in legs],
        [a.longitude_deg for a, _, _ in legs],
        [b.latitude_deg for _, b, _ in legs],
        [b.longitude_deg for _, b, _ in legs],
    )
    return [(float(metres), seconds) for metres, (_, _, seconds) in zip(straight, legs, strict=True)]


def _who_drove(visits: Iterable[Visit]) -> dict[int, Installer]:
    """Visit to the installer of its newest stop that was ever published."""
    stops = (
        Stop.objects.filter(visit__in=list(visits), round__plan__published_at__isnull=False)
        .select_related("round__installer")
        .order_by("round__plan__published_at", "pk")
    )
    return {stop.visit_id: stop.round.installer for stop in stops}
