"""What is before a reading, by whichever way it is looked for."""

from datetime import UTC, datetime, timedelta
from random import Random
from statistics import median
from typing import Final

import numpy as np
import pytest
from django.db import connection

from accounts.models import Company
from fleet.intake import history
from fleet.intake.history import ReadingSeries, pasts_of_doubtful
from fleet.models import Reading
from tests import factories

NOW: Final = datetime(2026, 3, 10, 12, tzinfo=UTC)
COLUMNS: Final = ("inlet_pressure_kpa", "feed_tds_mg_per_l", "permeate_tds_mg_per_l", "totaliser_l")
USUAL: Final = (400.0, 150.0, 9.0, 1000.0)


@pytest.mark.django_db
@pytest.mark.postgresql
@pytest.mark.skipif(connection.vendor != "postgresql", reason="elsewhere all of the look-back is read")
@pytest.mark.parametrize("seed", range(6))
def test_the_newest_of_each_unit_tell_the_same_as_all_of_the_look_back(
    company: Company, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    random = Random(seed)
    units = [factories.UnitFactory(company=company).pk for _ in range(8)]
    gaps = {unit: random.choice([0.0, 0.1, 0.6]) for unit in units}

    def look(unit: int) -> dict[str, float]:
        shown = {name: usual * random.choice([1, 1, 1, 10, 0.1]) for name, usual in zip(COLUMNS, USUAL, strict=True)}
        return {name: value for name, value in shown.items() if random.random() >= gaps[unit]}

    for unit in units:
        for _ in range(random.choice([0, 3, 30])):
            at = NOW - timedelta(hours=random.randint(-10, 5000))
            voided = NOW if random.random() < 0.1 else None
            Reading.objects.create(unit_id=unit, taken_at=at, received_at=NOW, voided_at=voided, **look(unit))
    coming = [(unit, NOW + timedelta(hours=hour), look(unit)) for hour in range(6) for unit in units]
    series = ReadingSeries(
        [unit for unit, _, _ in coming],
        [at for _, at, _ in coming],
        {name: np.array([shown.get(name, np.nan) for _, _, shown in coming]) for name in COLUMNS},
    )
    found = pasts_of_doubtful(series)
    asked: list[set[int]] = []
    all_short = set(units)
    monkeypatch.setattr(history, "_short_of_values", lambda *_: asked.append(all_short) or all_short)
    assert pasts_of_doubtful(series) == found
    assert found
    assert asked


@pytest.mark.parametrize("seed", range(4))
def test_what_a_unit_usually_shows_is_the_median_of_its_last_seven_values(seed: int) -> None:
    """Held against `statistics.median`, value by value."""
    random = Random(seed)
    units = [random.choice([1, 2, 3]) for _ in range(60)]
    values = [random.choice([np.nan, random.uniform(1, 9), random.uniform(1, 9)]) for _ in units]
    moments = [NOW + timedelta(minutes=random.randint(0, 9000)) for _ in units]
    series = ReadingSeries(units, moments, {"inlet_pressure_kpa": np.array(values)})
    events = history._Events.of(ReadingSeries([], [], {}), series)
    shown = events.column("inlet_pressure_kpa")
    middles = dict(zip(events.place.tolist(), events.middles(shown, ~np.isnan(shown)).tolist(), strict=True))
    for place, (unit, at) in enumerate(zip(units, moments, strict=True)):
        rows = sorted(zip(moments, range(60), units, values, strict=True))
        before = [row[3] for row in rows if row[2] == unit and row[:2] < (at, place) and row[3] == row[3]][-7:]
        expected = median(before) if len(before) >= 3 else np.nan
        assert middles[place] == expected or (middles[place] != middles[place] and expected != expected)
