"""A plan on the map, by RFC 7946."""

import pytest

from scheduling.exports.geojson import plan_map
from scheduling.models import Plan, UnservedVisit, Visit
from tests.scheduling.night import run_night
from tests.scheduling.town import Town


def test_what_a_plan_leaves_out_is_on_the_map_with_its_reason(town: Town) -> None:
    run_night(town, sites=1)
    plan = Plan.objects.get()
    unserved = UnservedVisit.objects.get()
    drawn = plan_map(plan)
    assert drawn["features"] == [
        {
            "type": "Feature",
            # longitude first (RFC 7946 section 3.1.1), six decimals (section 11.2)
            "geometry": {"type": "Point", "coordinates": [pytest.approx(13.4 + 2 / 67.7, abs=1e-6), 52.5]},
            "properties": {
                "kind": "unserved",
                "visit": Visit.objects.get().pk,
                "site": "Site 1",
                "reason": unserved.reason,
                "sentence": unserved.sentence,
            },
        }
    ]


def test_a_way_goes_from_home_over_every_stop_back_home(town: Town) -> None:
    town.installer("Ada", north_km=-11.12)
    run_night(town, sites=3)
    plan = Plan.objects.get()
    features = plan_map(plan)["features"]
    for round_ in plan.rounds.all():
        own_features = [feature for feature in features if feature["properties"].get("round") == round_.pk]
        geometry = next(f for f in own_features if f["properties"]["kind"] == "round")["geometry"]
        stops = [f["geometry"]["coordinates"] for f in own_features if f["properties"]["kind"] == "stop"]
        assert geometry["type"] == "LineString"
        assert geometry["coordinates"] == [[13.4, 52.4], *stops, [13.4, 52.4]]
