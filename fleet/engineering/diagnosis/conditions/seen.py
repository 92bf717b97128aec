"""Conditions on what people saw, heard or tasted, with the gauges beside it where they were read."""

from fleet.engineering.diagnosis import words
from fleet.engineering.diagnosis.conditions.flows import tank_over_line
from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence

_RESIN_OUTLETS = ("interstage_tds_mg_per_l", "product_tds_mg_per_l")


def water_on_floor(f: Facts) -> Evidence | None:
    """Somebody saw water where none should be."""
    return Evidence(0.95, {}) if f.yes("water_on_floor") else None


def is_switched_off(f: Facts) -> Evidence | None:
    """Somebody saw that the unit was off, or its feed shut."""
    return Evidence(0.9, {}) if f.yes("is_switched_off") else None


def _drain_runs_on(f: Facts) -> dict[str, float | str] | None:
    """What is known of a drain that runs when it should stand still, else None.

    Seen by a person; or read at a full store while no permeate is drawn, for then the drain is right to run.
    """
    drain, permeate = f.number("concentrate_flow_l_per_day"), f.number("permeate_flow_l_per_day")
    numbers: dict[str, float | str] = {} if drain is None else {"concentrate_flow": drain}
    if f.yes("concentrate_never_stops"):
        return numbers
    return numbers if f.concentrate_runs_on and not permeate else None


def drain_never_stops(f: Facts) -> Evidence | None:
    """The drain runs on, at any store, although a shut-off valve should close the feed."""
    numbers = _drain_runs_on(f)
    if numbers is None or f.no("has_automatic_shutoff"):
        return None
    share = tank_over_line(f)
    if share is not None and share < f.pattern_limits.shutoff_fraction and not f.yes("tank_is_full"):
        # A tank that stays low keeps the valve open, as it should.
        return None
    if f.no("tank_is_full"):
        return Evidence(0.5, numbers)
    return Evidence(0.8 if f.yes("tank_is_full") else 0.7, numbers)


def nothing_closes_the_feed(f: Facts) -> Evidence | None:
    """No shut-off valve is recorded, and the drain runs on, or must: a float valve alone stops the permeate."""
    if not f.no("has_automatic_shutoff"):
        return None
    numbers = _drain_runs_on(f)
    if numbers is not None:
        return Evidence(0.85, numbers)
    if not f.yes("has_float_valve"):
        return None
    drain = f.number("concentrate_flow_l_per_day")
    of_drain: dict[str, float | str] = {} if drain is None else {"concentrate_flow": drain}
    return Evidence(0.8, of_drain, *words.nothing_closes_the_feed(drain))


def stored_water_comes_back(f: Facts) -> Evidence | None:
    """The drain never stops, and the pump starts again and again: the store feeds the membrane backwards."""
    both = f.yes("concentrate_never_stops") and f.yes("pump_cycles_rapidly")
    return Evidence(0.85, {}) if both else None


def container_overflows(f: Facts) -> Evidence | None:
    """The container was found overflowing."""
    return Evidence(0.9, {}) if f.yes("container_overflows") else None


def tank_lost_air(f: Facts) -> Evidence | None:
    """A pressurised tank gives a glass and then a trickle, or fills slowly with hardly any pressure in it."""
    if f.no("has_pressurised_tank"):
        return None
    tank, precharge = f.number("tank_pressure_kpa"), f.number("tank_precharge_kpa")
    is_low = tank is not None and precharge is not None and tank < f.pattern_limits.precharge_share * precharge
    numbers: dict[str, float | str] = {}
    if is_low and tank is not None and precharge is not None:
        numbers = {"tank_pressure_kpa": tank, "precharge_kpa": precharge}
    if f.yes("tap_soon_trickles"):
        return Evidence(0.85 if is_low else 0.7, numbers)
    return Evidence(0.65, numbers) if is_low and f.yes("slow_filling") else None


def pump_never_stops(f: Facts) -> Evidence | None:
    """Somebody hears the pump run without end."""
    return Evidence(0.65, {}) if f.yes("pump_never_stops") else None


def no_water(f: Facts) -> Evidence | None:
    """Nothing comes, although nobody switched the unit off or shut its feed."""
    return Evidence(0.6, {}) if f.yes("no_water") and not f.yes("is_switched_off") else None


def fills_slowly(f: Facts) -> Evidence | None:
    """The store fills slowly, and nothing that was read with it says why."""
    if not (f.yes("slow_filling") or f.yes("tap_soon_trickles")) or tank_lost_air(f) is not None:
        return None
    return Evidence(0.4, {})


def makes_noise(f: Facts) -> Evidence | None:
    """Somebody hears the unit as they did not before."""
    return Evidence(0.5, {}) if f.yes("unusual_noise") else None


def slime_found(f: Facts) -> Evidence | None:
    """Smell or slime was found in the unit."""
    return Evidence(0.7, {}) if f.yes("smell_or_slime") else None


def resin_changed_colour(f: Facts) -> Evidence | None:
    """Most of the first bed has changed colour, and no outlet of the resin was read, which would decide."""
    share, limit = f.number("resin_colour_changed_fraction"), f.pattern_limits.resin_colour_fraction
    if share is None or share < limit or any(f.number(name) is not None for name in _RESIN_OUTLETS):
        return None
    return Evidence(0.6, {"colour_changed": share, "limit": limit})
