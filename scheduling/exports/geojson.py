"""A plan on the map, as GeoJSON (RFC 7946): plain dicts, longitude before latitude, WGS 84."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from scheduling.models import Plan, Round, Stop, UnservedVisit

#: The media type RFC 7946 registers.
MEDIA_TYPE = "application/geo+json"

# Six decimals are about a tenth of a metre, as RFC 7946 section 11.2 advises.
_DECIMALS = 6


class _StopRow(NamedTuple):
    """A stop, as far as it is drawn."""

    pk: int
    order: int
    visit: int
    site: str
    latitude: float | None
    longitude: float | None
    arrives_at: datetime
    starts_at: datetime
    leaves_at: datetime


def plan_map(plan: Plan) -> dict[str, Any]:
    """Draw a plan: each round's way and home base, each stop, each visit left out with its reason."""
    stops: dict[int, list[_StopRow]] = defaultdict(list)
    place = ("visit__site__name", "visit__site__latitude", "visit__site__longitude")
    columns = ("round_id", "pk", "order", "visit_id", *place, "arrives_at", "starts_at", "leaves_at")
    # rows of a few columns: a plan of a large company has thousands of stops, and leaves out as many visits
    for round_id, *row in Stop.objects.filter(round__plan=plan).order_by("order", "pk").values_list(*columns):
        stops[round_id].append(_StopRow(*row))
    features: list[dict[str, Any]] = []
    for round_ in plan.rounds.select_related("installer"):
        features += _round(round_, stops[round_.pk])
    unserved = UnservedVisit.objects.filter(plan=plan).values_list("visit_id", *place, "reason", "sentence")
    for visit, site, latitude, longitude, reason, sentence in unserved:
        features.append(
            _feature(
                _place(latitude, longitude), kind="unserved", visit=visit, site=site, reason=reason, sentence=sentence
            )
        )
    return {"type": "FeatureCollection", "features": features}


def _round(round_: Round, stops: Sequence[_StopRow]) -> Iterable[dict[str, Any]]:
    installer = round_.installer
    home = [installer.home_longitude, installer.home_latitude]
    located = [(s.longitude, s.latitude) for s in stops if s.longitude is not None and s.latitude is not None]
    shared = {"round": round_.pk, "installer": installer.name, "day": round_.day.isoformat()}
    yield _feature(
        {"type": "LineString", "coordinates": [_rounded(*place) for place in (home, *located, home)]},
        kind="round",
        leaves_at=round_.leaves_at.isoformat(),
        returns_at=round_.returns_at.isoformat(),
        driving_minutes=round_.driving_minutes,
        driving_km=round_.driving_km,
        **shared,
    )
    yield _feature(_point(*home), kind="home", **shared)
    for stop in stops:
        yield _feature(
            _place(stop.latitude, stop.longitude),
            kind="stop",
            stop=stop.pk,
            order=stop.order,
            visit=stop.visit,
            site=stop.site,
            arrives_at=stop.arrives_at.isoformat(),
            starts_at=stop.starts_at.isoformat(),
            leaves_at=stop.leaves_at.isoformat(),
            **shared,
        )


def _place(latitude: float | None, longitude: float | None) -> dict[str, Any] | None:
    """A point; None for a site whose location is unknown, which RFC 7946 (section 3.2) calls an unlocated feature."""
    return _point(longitude, latitude) if latitude is not None and longitude is not None else None


def _feature(geometry: dict[str, Any] | None, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _point(longitude: float, latitude: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": _rounded(longitude, latitude)}


def _rounded(longitude: float, latitude: float) -> list[float]:
    return [round(longitude, _DECIMALS), round(latitude, _DECIMALS)]
