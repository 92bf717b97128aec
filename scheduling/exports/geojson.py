"""A plan on the map, as GeoJSON (RFC 7946): plain dicts, longitude before latitude, WGS 84."""

from collections.abc import Iterable
from typing import Any

from fleet.models import Site
from scheduling.models import Plan, Round, Stop

#: The media type RFC 7946 registers.
MEDIA_TYPE = "application/geo+json"

# Six decimals are about a tenth of a metre, as RFC 7946 section 11.2 advises.
_DECIMALS = 6


def plan_map(plan: Plan) -> dict[str, Any]:
    """Draw a plan: each round's way and home base, each stop, each visit left out with its reason.

    Parameters
    ----------
    plan
        With `rounds__installer`, `rounds__stops__visit__site` and `unserved__visit__site` at hand.
    """
    features: list[dict[str, Any]] = []
    for round_ in plan.rounds.all():
        features += _round(round_)
    for unserved in plan.unserved.all():
        site = unserved.visit.site
        features.append(
            _feature(
                _place_of(site),
                kind="unserved",
                visit=unserved.visit_id,
                site=site.name,
                reason=unserved.reason,
                sentence=unserved.sentence,
            )
        )
    return {"type": "FeatureCollection", "features": features}


def _round(round_: Round) -> Iterable[dict[str, Any]]:
    installer = round_.installer
    home = [installer.home_longitude, installer.home_latitude]
    stops: list[Stop] = list(round_.stops.all())
    coordinates = [home, *(_lon_lat(s.visit.site) for s in stops if s.visit.site.is_located), home]
    shared = {"round": round_.pk, "installer": installer.name, "day": round_.day.isoformat()}
    yield _feature(
        {"type": "LineString", "coordinates": [_rounded(*place) for place in coordinates]},
        kind="round",
        leaves_at=round_.leaves_at.isoformat(),
        returns_at=round_.returns_at.isoformat(),
        driving_minutes=round_.driving_minutes,
        driving_km=round_.driving_km,
        **shared,
    )
    yield _feature(_point(*home), kind="home", **shared)
    for stop in stops:
        site = stop.visit.site
        yield _feature(
            _place_of(site),
            kind="stop",
            stop=stop.pk,
            order=stop.order,
            visit=stop.visit_id,
            site=site.name,
            arrives_at=stop.arrives_at.isoformat(),
            starts_at=stop.starts_at.isoformat(),
            leaves_at=stop.leaves_at.isoformat(),
            **shared,
        )


def _lon_lat(site: Site) -> list[float]:
    return list(reversed(site.location or ()))


def _place_of(site: Site) -> dict[str, Any] | None:
    """A point; None for a site whose location is unknown, which RFC 7946 (section 3.2) calls an unlocated feature."""
    return _point(*_lon_lat(site)) if site.is_located else None


def _feature(geometry: dict[str, Any] | None, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _point(longitude: float, latitude: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": _rounded(longitude, latitude)}


def _rounded(longitude: float, latitude: float) -> list[float]:
    return [round(longitude, _DECIMALS), round(latitude, _DECIMALS)]
