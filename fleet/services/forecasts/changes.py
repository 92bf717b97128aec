"""Why a forecast moved: two forecasts of one position side by side, and a sentence on what came in between."""

from typing import Final

from django.db.models import Q

from fleet.engineering.stages import FINISHING
from fleet.engineering.units import QUANTITY_KINDS, to_display
from fleet.forecasting.distribution import percent_text
from fleet.intake.names import spoken
from fleet.models import Forecast, Reading, Stage
from fleet.services import words
from fleet.services.forecasts.groups import probability_exhausted_by

FEW_DAYS = 7
"""A median that moves less is called unmoved: no visit is planned finer (common practice, no source)."""

MARKED_RISE: Final = 0.05
"""From this rise on, the chance that a cartridge is exhausted already is told (common practice, no source)."""

_TELLS: Final = {
    Stage.SEDIMENT: ("prefilter_outlet_pressure_kpa", "line_pressure_kpa"),
    Stage.CARBON: (
        "carbon_outlet_total_chlorine_mg_per_l",
        "carbon_outlet_free_chlorine_mg_per_l",
        "interstage_chlorine_mg_per_l",
    ),
    Stage.MEMBRANE: ("permeate_flow_l_per_day", "permeate_tds_mg_per_l"),
    Stage.RESIN: ("product_tds_mg_per_l", "interstage_tds_mg_per_l"),
    **{Stage(name): tuple(sign.quantity for sign in each.signs) for name, each in FINISHING.items()},
}
"""What a practitioner looks at to judge a cartridge of a stage."""


def sentence_of_change(*, before: Forecast, after: Forecast) -> str:
    """Say how the median date of a position moved between two forecasts, and on what evidence.

    Parameters
    ----------
    before, after
        Forecasts of the same position, the older one first.

    Raises
    ------
    ValueError
        When they belong to different positions.
    """
    if before.position_id != after.position_id:
        raise ValueError(f"{before} and {after} are forecasts of different positions; compare those of one")
    if before.placement_id != after.placement_id:
        return words.other_cartridge()
    if before.p50 is None or after.p50 is None:
        return words.undated_change(before.p50, after.p50)
    because = after.evidence.get("exhausted_because", {}).get("sentence", "")
    if after.state == Forecast.State.EXHAUSTED and before.state != Forecast.State.EXHAUSTED:
        return words.exhausted_now(before.p50, because)
    news = after.evidence.get("readings_used", 0) - before.evidence.get("readings_used", 0)
    left_out = after.evidence.get("readings_left_out", 0) - before.evidence.get("readings_left_out", 0)
    newest = _newest_reading(before, after)
    basis = words.evidence_of_change(newest, news - bool(newest), left_out)
    if after.state == before.state == Forecast.State.EXHAUSTED:
        old, new = (percent_text(probability_exhausted_by(row, row.as_of) or 0.0) for row in (before, after))
        return words.still_exhausted(old, new, basis, because)
    if abs((after.p50 - before.p50).days) < FEW_DAYS:
        return words.date_unchanged(after.p50, basis) + _doubt(before, after)
    return words.date_moved(before.p50, after.p50, basis) + _doubt(before, after)


def _doubt(before: Forecast, after: Forecast) -> str:
    """What a single reading against all others does to a date: nothing to the median, much to the chance of now."""
    old, new = (probability_exhausted_by(row, row.as_of) or 0.0 for row in (before, after))
    if new - old < MARKED_RISE:
        return ""
    return words.may_be_exhausted(old, new)


def _newest_reading(before: Forecast, after: Forecast) -> str:
    """The newest reading that came between two forecasts and tells of the position, as a phrase; empty without one."""
    names = _TELLS[Stage(after.position.stage)]
    if not names:
        return ""
    tells = Q()
    for name in names:
        tells |= Q(**{f"{name}__isnull": False})
    received = Reading.objects.current().filter(tells, unit=after.position.unit_id, received_at__gt=before.computed_at)
    received = received.filter(received_at__lte=after.computed_at)
    left_out = {entry["reading"] for entry in after.evidence.get("left_out", ())}
    reading = received.exclude(pk__in=left_out).order_by("taken_at", "pk").last()
    if reading is None:
        return ""
    company = after.position.unit.company
    taken_on = company.day_at(reading.taken_at)
    shown = []
    for name in names:
        value = getattr(reading, name)
        if value is not None:
            number, unit = to_display(value, QUANTITY_KINDS[name], company.unit_system)
            shown.append((spoken(name), number, unit))
    return words.reading_of(taken_on, shown)
