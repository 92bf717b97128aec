"""Conditions on what finishes the water on its way to the tap."""

from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence
from fleet.engineering.stages import FINISHING, Sign


def _shown(f: Facts, sign: Sign) -> float | None:
    """The value of a sign; None where it was not read whole."""
    value = f.number(sign.quantity)
    over = f.number(sign.over) if sign.over else 0.0
    return None if value is None or over is None else value - over


def lamp_fails(f: Facts) -> Evidence | None:
    """The lamp is dark by what somebody saw, or too weak by its monitor."""
    if f.no("has_uv"):
        return None
    if f.yes("uv_alarm"):
        return Evidence(0.95, {})
    sign = FINISHING["uv"].signs[0]
    shown = _shown(f, sign)
    return None if shown is None or shown >= sign.least else Evidence(0.9, {"uv_intensity": shown})


def minerals_are_exhausted(f: Facts) -> Evidence | None:
    """Behind a remineralising cartridge the water is as acid, or as soft, as before it."""
    if not f.yes("has_remineralisation"):
        return None
    for sign in FINISHING["remineralisation"].signs:
        shown = _shown(f, sign)
        if shown is not None:
            return Evidence(0.75, {sign.quantity: shown}) if shown < sign.least else None
    return None
