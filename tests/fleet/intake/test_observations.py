"""What people saw comes in with a reading or on its own, as codes in a payload or as words in a log."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from fleet.engineering.observations import OBSERVATIONS, codes_by_word
from fleet.intake.payloads import take_reading
from fleet.intake.readings_log import VOCABULARY, read_log
from fleet.models import IntakeBatch, Reading, Unit
from tests import factories

pytestmark = pytest.mark.interface

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
HEAD = "unit,taken at"
ROW = "RX-7,2026-03-04 14:05"


@pytest.fixture
def unit(owner: Membership) -> Unit:
    site = factories.SiteFactory(company=owner.company, time_zone="Europe/Berlin")
    return factories.UnitFactory(site=site, code="RX-7", commissioned_on=date(2025, 1, 10))


def take(unit: Unit, **row: Any) -> Reading:
    return take_reading(company=unit.company, by=None, row={"unit": unit.pk, **row}, source="client", now=NOW)[0]


def load(unit: Unit, header: str, *cells: str) -> IntakeBatch:
    text = "\n".join([f"{HEAD},{header}", *(f"{ROW}:{number:02},{cell}" for number, cell in enumerate(cells))]) + "\n"
    return read_log(company=unit.company, by=None, name="log.csv", content=text.encode(), now=NOW)


def test_an_observation_alone_is_a_reading(unit: Unit) -> None:
    reading = take(unit, observations={"water_on_floor": True})
    assert Reading.objects.get(pk=reading.pk).observations == {"water_on_floor": True}


def test_what_was_not_there_differs_from_what_nobody_looked_for(unit: Unit) -> None:
    reading = take(unit, feed_tds="210 ppm", observations={"pump_never_stops": True, "concentrate_never_stops": False})
    assert reading.observations == {"concentrate_never_stops": False, "pump_never_stops": True}
    assert take(unit, feed_tds="211 ppm").observations == {}


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({"water_on_flor": True}, "did you mean 'water_on_floor'?"),
        ({"7": True}, "The codes are 'water_on_floor', 'no_water', 'uv_alarm', 'concentrate_never_stops'"),
        ({"water_on_floor": "yes"}, "must be true where it is so or false where it is not"),
        ({"water_on_floor": None}, "leave it out where nobody looked"),
        (["water_on_floor"], 'as {"water_on_floor": true}'),
        ("water_on_floor", 'as {"water_on_floor": true}'),
        ({}, 'as {"water_on_floor": true}'),
        (True, 'as {"water_on_floor": true}'),
    ],
    ids=str,
)
def test_what_is_no_observation_is_refused_with_what_would_be_right(unit: Unit, sent: Any, sentence: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        take(unit, feed_tds="210 ppm", observations=sent)
    assert [fault.pointer for fault in refused.value.faults] == ["/observations"]
    assert sentence in refused.value.faults[0].sentence
    assert not Reading.objects.exists()


def test_the_same_observation_sent_again_is_known_and_another_one_is_not(unit: Unit) -> None:
    moment = "2026-03-04T10:00:00Z"
    first = take(unit, taken_at=moment, observations={"water_on_floor": True})
    assert take(unit, taken_at=moment, observations={"water_on_floor": True}).pk == first.pk
    assert take(unit, taken_at=moment, observations={"water_on_floor": False}).pk != first.pk
    assert take(unit, taken_at=moment, observations={"unusual_noise": True}).pk != first.pk


@pytest.mark.parametrize(
    ("stored", "sent", "both"),
    [
        ({"water_on_floor": True}, {"water_on_floor": False}, "with observations water_on_floor yes, not water_on"),
        ({"water_on_floor": True}, None, "with observations water_on_floor yes, and none was sent"),
        (None, {"slow_filling": True}, "without observations, and slow_filling yes was sent"),
    ],
)
def test_other_observations_under_a_known_reference_are_refused(unit: Unit, stored: Any, sent: Any, both: str) -> None:
    take(unit, reference="van-9", feed_tds="210 ppm", observations=stored)
    with pytest.raises(Conflict) as refused:
        take(unit, reference="van-9", feed_tds="210 ppm", observations=sent)
    assert both in refused.value.faults[0].sentence


def test_how_much_of_a_resin_bed_changed_colour_is_a_share(unit: Unit) -> None:
    assert take(unit, resin_colour_changed_fraction="60 %").resin_colour_changed_fraction == pytest.approx(0.6)
    with pytest.raises(InvalidInput):
        take(unit, resin_colour_changed_fraction="160 %")


def test_a_log_has_a_column_for_an_observation(unit: Unit) -> None:
    batch = load(unit, "water on the floor,feed TDS [ppm]", "yes,210", "no,211", ",212", "Yes,", "maybe,213")
    assert (batch.stored, batch.refused) == (4, 1)
    stored = list(Reading.objects.order_by("taken_at").values_list("observations", flat=True))
    assert stored == [{"water_on_floor": True}, {"water_on_floor": False}, {}, {"water_on_floor": True}]
    fault = batch.refused_rows.get().faults[0]
    assert (fault["field"], fault["sentence"]) == ("water on the floor", "'maybe' is neither yes nor no.")


def test_a_log_names_what_was_seen_in_one_column(unit: Unit) -> None:
    batch = load(unit, "seen", "drain never stops; Noise", "", "taste_or_odour", "foam; noise")
    stored = list(Reading.objects.order_by("taken_at").values_list("observations", flat=True))
    assert stored == [{"concentrate_never_stops": True, "unusual_noise": True}, {"taste_or_odour": True}]
    refused = {row.line: row.faults[0] for row in batch.refused_rows.all()}
    assert refused[3]["code"] == "no_value"
    assert (refused[5]["field"], refused[5]["code"]) == ("seen", "unknown_observation")
    assert refused[5]["sentence"].startswith("'foam' is not an observation")


def test_two_columns_that_contradict_each_other_are_refused(unit: Unit) -> None:
    batch = load(unit, "seen,noise", "noise,no", "noise,yes")
    assert batch.stored == 1
    assert batch.refused_rows.get().faults[0]["code"] == "seen_and_not_seen"


def test_no_word_names_two_things() -> None:
    words = [word.strip() for each in OBSERVATIONS for word in each.also.split(",")]
    assert len(words) == len(set(words))
    assert not codes_by_word().keys() & VOCABULARY.quantities.keys()
    assert {each.name for each in OBSERVATIONS} <= VOCABULARY.words.keys()
