"""Probabilities by any date, and the first position to fail of a unit or a site, from the stored distributions.

Nothing is forecast here: what is answered for a unit today and for its positions comes from the same stored rows.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
from django.db.models import QuerySet

from accounts.language import gettext_noop
from fleet.forecasting.answer.explain import why_text
from fleet.forecasting.answer.results import GroupForecasts, first_to_fail
from fleet.forecasting.distribution import GRID_LEVELS, probability_by
from fleet.forecasting.inputs import vocabulary
from fleet.forecasting.inputs.tables import Floats
from fleet.models import Forecast, Site, Unit
from fleet.services import words
from fleet.services.forecasts.rows import QUANTILES, TENTHS, date_tenths_shown

_EPOCH: Final = date(1970, 1, 1)


@dataclass(frozen=True)
class FirstToFail:
    """Distribution of the day on which the first position of a group is exhausted.

    `forecast` is that of the position which is most likely the first; None, and no dates, where no position has one.
    `as_of` is the oldest day the answer stands on, None without any forecast.
    """

    as_of: date | None
    position_count: int
    dated_count: int
    quantiles: dict[str, date | None]
    probability: float | None
    forecast: Forecast | None
    installer_sentence: str
    client_sentence: str


def probability_exhausted_by(forecast: Forecast, day: date) -> float | None:
    """Probability that a position is exhausted by the end of a day.

    Returns
    -------
    float or None
        0 to 1; None where the forecast has no date, or is younger than the day asked about.
    """
    if not forecast.date_grid or day < forecast.as_of:
        return None
    return float(probability_by(np.array(forecast.date_grid, dtype=np.float64), _end_of(day, forecast.as_of)))


def first_to_fail_of_unit(*, unit: Unit, day: date | None = None) -> FirstToFail:
    """The first position of a unit to fail; with a day, also how probable it is by the end of that day."""
    return _first(
        Forecast.objects.filter(position__unit=unit), gettext_noop("this unit"), gettext_noop("your unit"), day
    )


def first_to_fail_of_site(*, site: Site, day: date | None = None) -> FirstToFail:
    """The first position of all units at a site to fail; with a day, also how probable it is by the end of it."""
    return _first(
        Forecast.objects.filter(position__unit__site=site), gettext_noop("this site"), gettext_noop("your site"), day
    )


def first_changes_among(forecasts: Iterable[tuple[Forecast, int]]) -> dict[int, date]:
    """Unit id -> the median date of the first of its forecasts, as `first_to_fail_of_unit` gives it of all of a unit.

    Parameters
    ----------
    forecasts
        Of cartridges that stand there still, each with the id of its unit; units without a date are left out.
    """
    return _median_days(forecasts)


def first_changes(forecasts: QuerySet[Forecast]) -> dict[int, date]:
    """Unit id -> what `first_changes_among` gives of its own among the forecasts; units without a date are left out."""
    rows = forecasts.select_related("position").only("as_of", "date_grid", "driver", "position__unit")
    return _median_days((row, row.position.unit_id) for row in rows)


def _end_of(day: date, as_of: date) -> float:
    """The last tenth of a day: stored dates are rounded down to tenths, so all of that day are counted, none after."""
    return float(TENTHS * ((day - as_of).days + 1) - 1)


def _first(rows: Any, here: str, yours: str, day: date | None) -> FirstToFail:
    latest = list(rows.filter(is_latest=True).select_related("position__unit", "placement").order_by("position_id"))
    # a cartridge that was replaced since is forecast no more; the next run dates the one that stands there now
    dated = [row for row in latest if _is_dated(row) and not _is_removed(row)]
    nothing: dict[str, date | None] = dict.fromkeys(QUANTILES)
    as_of = min((row.as_of for row in latest), default=None)
    if not dated:
        why = gettext_noop("nothing has been forecast yet")
        if latest:
            why = gettext_noop("no cartridge is recorded or no water is drawn")
        # a latest forecast is of what stands there; one that was displaced and not made anew yet tells of a change
        candidates = latest or rows.order_by("-as_of", "-pk").select_related("placement")[:1]
        if any(_is_removed(row) for row in candidates):
            why = gettext_noop("another cartridge was installed after the last forecast")
        return FirstToFail(
            as_of, len(latest), 0, nothing, None, None,
            words.no_first_date(here, why), words.no_first_date_for_client(yours, why),
        )  # fmt: skip
    (newest,), answer = _together(dated, [0] * len(dated))
    quantiles: dict[str, date | None] = {**_dates(newest, answer.grid_day[0])}
    probability = None
    if day is not None and day >= newest:
        probability = float(probability_by(answer.grid_day[0], _end_of(day, newest)))
    first = dated[int(answer.first_position_index[0])]
    name = _name(first)
    exhausted = sum(row.state == Forecast.State.EXHAUSTED for row in dated)
    if exhausted:
        installer = words.first_exhausted(here, name, exhausted - 1, first.installer_sentence)
        client = first.client_sentence
    else:
        days = quantiles["p10"], quantiles["p50"], quantiles["p90"]
        why = why_text(vocabulary.DRIVERS.index(first.driver))
        installer = words.first_due(here, days, name, why, len(dated))
        client = words.first_due_for_client(yours, quantiles["p50"])
    return FirstToFail(as_of, len(latest), len(dated), quantiles, probability, first, installer, client)


def _together(dated: Sequence[Forecast], groups: Sequence[int]) -> tuple[list[date], GroupForecasts]:
    """Of each group, from 0 on, its newest day, and the distribution of its first in tenths of a day from that."""
    newest = [date.min] * (max(groups) + 1)
    for row, group in zip(dated, groups, strict=True):
        newest[group] = max(newest[group], row.as_of)
    tenths: Floats = np.array([row.date_grid for row in dated], dtype=np.float64)
    ahead = [(row.as_of - newest[group]).days for row, group in zip(dated, groups, strict=True)]
    tenths += TENTHS * np.array(ahead)[:, None]
    # What an older forecast expected before the newest day has not been seen to happen, so it is expected now.
    tenths = np.maximum(tenths, 0.0)
    driver = np.array([vocabulary.DRIVERS.index(row.driver) for row in dated], dtype=np.int8)
    return newest, first_to_fail(tenths, driver, np.array(groups, dtype=np.int64), len(newest))


def _median_days(forecasts: Iterable[tuple[Forecast, int]]) -> dict[int, date]:
    """Group -> the median day of its first, of forecasts that are each given with their group."""
    # In the order of `_first`: the sums of a distribution depend on it in the last digit.
    dated = sorted((pair for pair in forecasts if _is_dated(pair[0])), key=lambda pair: pair[0].position_id)
    if not dated:
        return {}
    keys = list(dict.fromkeys(key for _, key in dated))
    index = {key: number for number, key in enumerate(keys)}
    newest, answer = _together([row for row, _ in dated], [index[key] for _, key in dated])
    return {key: _dates(newest[number], answer.grid_day[number])["p50"] for key, number in index.items()}


def _dates(newest: date, grid_tenths: Floats) -> dict[str, date]:
    shown = date_tenths_shown(grid_tenths)
    return {name: newest + timedelta(days=int(value // TENTHS)) for name, value in zip(QUANTILES, shown, strict=True)}


def _is_dated(forecast: Forecast) -> bool:
    return len(forecast.date_grid) == len(GRID_LEVELS)


def _is_removed(forecast: Forecast) -> bool:
    return forecast.placement is not None and forecast.placement.removed_at is not None


def _name(forecast: Forecast) -> str:
    position = forecast.position
    return words.position_of_unit(position.stage, position.role, position.unit.code)
