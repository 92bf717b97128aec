"""What must be stored so that a draw is served, and which tank of the catalogue holds it."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering.formulas.tank import tank_water_volume_l
from fleet.engineering.sizing.demand import tank_usable_volume_l
from fleet.engineering.sizing.flows import FlowChoice, tank_shutoff_kpa
from fleet.engineering.sizing.offer import Item, SizingRequest
from fleet.engineering.sizing.survey import SizingPolicy


@dataclass(frozen=True)
class Storage:
    """What is stored, and in what.

    Attributes
    ----------
    purpose : str
        ``"pressurised_tank"`` where people draw from a tap, else ``"open_tank"``.
    usable_l : float
        Water that must be ready; 0 where production keeps up with the draw.
    volume_l : float
        Tank volume that holds it.
    draw_l, window_h : float
        The draw it serves.
    is_assumed : bool
        Whether the draw was assumed.
    item : Item or None
        The cheapest tank that holds it and fits the room, or the largest that fits.
    """

    purpose: str
    usable_l: float
    volume_l: float
    draw_l: float
    window_h: float
    is_assumed: bool
    item: Item | None


def storage_for(request: SizingRequest, choice: FlowChoice, catalogue: Sequence[Item], policy: SizingPolicy) -> Storage:
    """Return what a site needs stored behind a choice of flows.

    Parameters
    ----------
    request : SizingRequest
        Uses, draw and room.
    choice : FlowChoice
        What is made meanwhile, in winter.
    catalogue : sequence of Item
        All of it; a tank that does not state its volume cannot be judged.
    policy : SizingPolicy
        Pressures of a tank, and what a tap is taken to draw.

    Returns
    -------
    Storage
        A tap always has some water stored: a membrane gives it by drops.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("drinking", 70.0),), SiteSurvey("drinking", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 414.0, 4.0, 190.0, 130.0, 2.0, 3.0, 8.0)
    >>> store = storage_for(request, flows, [], SizingPolicy())
    >>> store.purpose, store.usable_l, round(store.volume_l, 1), store.item
    ('pressurised_tank', 4.0, 6.6, None)
    """
    taps = request.tap_demand_l_per_week
    purpose = "pressurised_tank" if taps else "open_tank"
    draw, window = request.survey.peak_draw_l, request.survey.draw_window_h
    if draw is None:
        draw, window = policy.tap_draw_share * taps / 7.0, policy.tap_draw_window_h
    usable = float(tank_usable_volume_l(draw, choice.winter_flow_l_per_day, window))
    if taps:
        usable = max(usable, policy.least_tap_store_l)
    share = _usable_share(purpose, choice.inlet_pressure_kpa, policy)
    volume = usable / share
    is_assumed = request.survey.peak_draw_l is None
    return Storage(purpose, usable, volume, draw, window, is_assumed, _tank(request, catalogue, purpose, volume))


def _usable_share(purpose: str, inlet_kpa: float, policy: SizingPolicy) -> float:
    if purpose == "open_tank":
        return policy.open_tank_usable_fraction
    return float(
        tank_water_volume_l(
            1.0,
            precharge_pressure_kpa=policy.tank_precharge_kpa,
            tank_pressure_kpa=tank_shutoff_kpa(inlet_kpa, policy),
        )
    )


def _tank(request: SizingRequest, catalogue: Sequence[Item], purpose: str, volume_l: float) -> Item | None:
    if volume_l <= 0.0:
        return None
    room = request.largest_tank_l
    fits = [
        (item.rated_volume_l, item)
        for item in catalogue
        if item.purpose == purpose and item.rated_volume_l and (room is None or item.rated_volume_l <= room)
    ]
    enough = [item for volume, item in fits if volume >= volume_l]
    if enough:
        return min(enough, key=lambda item: (item.price, item.code))
    # Smaller than wanted serves better than none where there is no room for more.
    if room is not None and room < volume_l:
        return max(fits, key=lambda pair: pair[0], default=(0.0, None))[1]
    return None
