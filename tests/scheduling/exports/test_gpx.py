"""A round as GPX 1.1, held against what the published schema demands (gpx.xsd 1.1, namespace and sequences below)."""

from datetime import datetime
from xml.etree import ElementTree as ET

import gpxpy
from rest_framework.test import APIClient

from fleet.models import Site
from scheduling.models import Round
from tests.scheduling.night import run_night
from tests.scheduling.town import Town

# gpx.xsd 1.1, from memory: target namespace; gpxType has required `version` (fixed "1.1") and `creator`; the sequences
# of rteType and wptType, of which only the elements used here are named.
SPACE = "{http://www.topografix.com/GPX/1/1}"
RTE = ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"]
WPT = ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type"]


def _in_order(element: ET.Element, sequence: list[str]) -> None:
    names = [child.tag.removeprefix(SPACE) for child in element]
    assert all(name in sequence for name in names)
    assert names == sorted(names, key=sequence.index)


def test_a_round_is_a_route_from_home_over_every_stop(as_installer: APIClient, town: Town) -> None:
    town.installer("Ada", north_km=-11.12)
    run_night(town, sites=3)
    hard = "Müller & Söhne <Café> \x08\u2028"
    Site.objects.update(name=hard, address="Quay 3, Ostrelle", access_notes="Ring twice.")
    day = Round.objects.prefetch_related("stops").first()
    assert day is not None
    answer = as_installer.get(f"/api/v1/rounds/{day.pk}/gpx/")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "application/gpx+xml"
    root = ET.fromstring(answer.content)
    assert (root.tag, root.get("version")) == (f"{SPACE}gpx", "1.1")
    assert root.get("creator")
    (route,) = root
    assert route.tag == f"{SPACE}rte"
    _in_order(route, RTE)
    points = route.findall(f"{SPACE}rtept")
    stops = list(day.stops.all())
    assert len(points) == len(stops) + 2
    for point in points:
        _in_order(point, WPT)
        assert set(point.attrib) == {"lat", "lon"}
        assert -90 <= float(point.attrib["lat"]) <= 90
        assert -180 <= float(point.attrib["lon"]) < 180
    assert points[0].attrib == points[-1].attrib == {"lat": "52.400000", "lon": "13.400000"}
    for stop, point in zip(stops, points[1:-1], strict=True):
        assert datetime.fromisoformat(point.findtext(f"{SPACE}time") or "") == stop.arrives_at
        assert point.findtext(f"{SPACE}name") == f"{stop.order}. Müller & Söhne <Café> \u2028"
        assert point.findtext(f"{SPACE}desc") == "Quay 3, Ostrelle. Ring twice."


def test_another_library_reads_the_route(as_installer: APIClient, town: Town) -> None:
    town.installer("Ada", north_km=-11.12)
    run_night(town, sites=3)
    day = Round.objects.prefetch_related("stops__visit__site").first()
    assert day is not None
    read = gpxpy.parse(as_installer.get(f"/api/v1/rounds/{day.pk}/gpx/").content.decode())
    assert (read.version, len(read.routes), read.tracks, read.waypoints) == ("1.1", 1, [], [])
    (route,) = read.routes
    assert route.name == f"Ada {day.day}"
    home, *points, back = route.points
    assert (home.latitude, home.longitude, home.time) == (52.4, 13.4, day.leaves_at)
    assert (back.latitude, back.longitude, back.time) == (52.4, 13.4, day.returns_at)
    assert [(round(p.longitude, 5), p.time) for p in points] == [
        (round(stop.visit.site.longitude, 5), stop.arrives_at) for stop in day.stops.all()
    ]
