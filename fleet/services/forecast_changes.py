"""Why a forecast moved: two forecasts of one position side by side, and a sentence on what came in between."""

from fleet.models import Forecast

FEW_DAYS = 7
"""A median that moves less is called unmoved: no visit is planned finer (common practice, no source)."""


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
        return "Another cartridge stands there now, so the older forecast no longer counts."
    if before.p50 is None or after.p50 is None:
        return f"{_dated(before)} before, {_dated(after)} now."
    moved = (after.p50 - before.p50).days
    because = after.evidence.get("exhausted_because", {}).get("sentence", "")
    if after.state == Forecast.State.SPENT and before.state != Forecast.State.SPENT:
        return f"Expected around {before.p50}, exhausted by now. {because}".strip()
    news = after.evidence.get("readings_used", 0) - before.evidence.get("readings_used", 0)
    left_out = after.evidence.get("readings_left_out", 0) - before.evidence.get("readings_left_out", 0)
    what = [f"{news} more reading{'s' if news > 1 else ''}"] if news > 0 else []
    what += [f"{left_out} left out as not usable"] if left_out > 0 else []
    basis = f" after {' and '.join(what)}" if what else " without any new reading, by what the whole fleet taught"
    if abs(moved) < FEW_DAYS:
        return f"The date stays around {after.p50}{basis}."
    direction = "later" if moved > 0 else "earlier"
    return f"The date moved {abs(moved)} days {direction}, from {before.p50} to {after.p50},{basis}."


def _dated(forecast: Forecast) -> str:
    return f"Expected around {forecast.p50}" if forecast.p50 is not None else "No date"
