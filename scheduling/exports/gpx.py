"""A round as GPX 1.1, for devices that guide from stop to stop.

The schema is http://www.topografix.com/GPX/1/1/gpx.xsd. A round is one `rte`: home, the stops in order, home again.
Elements stand in the order in which the schema's sequences name them.
"""

from datetime import UTC, datetime
from xml.etree import ElementTree as ET

from accounts.language import gettext
from scheduling.exports import words
from scheduling.models import Round

MEDIA_TYPE = "application/gpx+xml"
NAMESPACE = "http://www.topografix.com/GPX/1/1"
# About a tenth of a metre.
_DECIMALS = 6


def round_gpx(day: Round) -> bytes:
    """Write a round.

    Parameters
    ----------
    day
        With `installer` and `stops__visit__site` at hand.

    Notes
    -----
    Characters that XML 1.0 does not know (section 2.2: most control characters) are left out of names.
    """
    ET.register_namespace("", NAMESPACE)
    root = ET.Element(_tag("gpx"), {"version": "1.1", "creator": "RO fleet"})
    route = ET.SubElement(root, _tag("rte"))
    _text(route, "name", f"{day.installer.name} {day.day.isoformat()}")
    home = day.installer.home_latitude, day.installer.home_longitude
    _point(route, *home, day.leaves_at, gettext(words.HOME), gettext(words.LEAVE_HOME))
    for stop in day.stops.all():
        site = stop.visit.site
        notes = ". ".join(part for part in (site.address.rstrip("."), site.access_notes) if part)
        if site.location is not None:
            _point(route, *site.location, stop.arrives_at, f"{stop.order}. {site.name}", notes)
    _point(route, *home, day.returns_at, gettext(words.HOME), gettext(words.BACK_HOME))
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="utf-8")


def _point(route: ET.Element, latitude: float, longitude: float, at: datetime, name: str, description: str) -> None:
    place = {"lat": f"{latitude:.{_DECIMALS}f}", "lon": f"{longitude:.{_DECIMALS}f}"}
    point = ET.SubElement(route, _tag("rtept"), place)
    _text(point, "time", at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))
    _text(point, "name", name)
    if description:
        _text(point, "desc", description)


def _text(parent: ET.Element, name: str, text: str) -> None:
    ET.SubElement(parent, _tag(name)).text = "".join(c for c in text if _is_known(ord(c)))


def _is_known(code: int) -> bool:
    return code in (0x9, 0xA, 0xD) or 0x20 <= code <= 0xD7FF or 0xE000 <= code <= 0xFFFD or 0x10000 <= code <= 0x10FFFF


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"
