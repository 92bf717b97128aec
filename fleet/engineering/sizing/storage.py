"""What must be stored so that a draw is served and a reserve is there, and which tank of the catalogue holds it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from fleet.engineering.formulas.tank import tank_water_volume_l
from fleet.engineering.sizing.demand import tank_usable_volume_l
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.flows import tank_shutoff_kpa
from fleet.engineering.sizing.offer import Item, SizingRequest
from fleet.engineering.sizing.survey import SizingPolicy


@dataclass(frozen=True)
class Storage:
    """What is stored for one branch, and in what.

    Attributes
    ----------
    purpose : str
        ``"pressurised_tank"`` where people draw from a tap, else ``"open_tank"``.
    usable_l : float
        Water that must be ready; 0 where production keeps up with the draw and no reserve is asked for.
    volume_l : float
        Tank volume that holds it.
    draw_l, window_h : float
        The draw it serves.
    is_assumed : bool
        Whether the draw was assumed.
    item : Item or None
        The cheapest tank that holds it and fits the room, or the largest that fits.
    demand_l_per_week : float
        Of the uses that draw from it.
    is_for_reserve : bool
        Whether the reserve asks for more than the draw.
    """

    purpose: str
    usable_l: float
    volume_l: float
    draw_l: float
    window_h: float
    is_assumed: bool
    item: Item | None
    demand_l_per_week: float
    is_for_reserve: bool = False

    @property
    def full_l(self) -> float:
        """Usable water of the full tank: of the one offered, or of the one that is needed where there is none."""
        if self.item is None or not self.item.rated_volume_l or not self.volume_l:
            return self.usable_l
        return self.usable_l * self.item.rated_volume_l / self.volume_l

    @property
    def reserve_hours(self) -> float:
        """How long the full tank serves the usual demand when the unit stops."""
        return self.full_l / self.demand_l_per_week * 168.0


def stores_for(
    request: SizingRequest, choice: FlowChoice, catalogue: Sequence[Item], policy: SizingPolicy
) -> tuple[Storage, ...]:
    """Return what a site needs stored behind a choice of flows: for the taps, and for what fills an open container.

    Parameters
    ----------
    request : SizingRequest
        Uses, draw, reserve and room. The draw is that of the taps where there are some.
    choice : FlowChoice
        What is made meanwhile, in winter.
    catalogue : sequence of Item
        All of it; a tank that does not state its volume cannot be judged.
    policy : SizingPolicy
        Pressures of a tank, and what a tap is taken to draw.

    Returns
    -------
    tuple of Storage
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
    >>> (store,) = stores_for(request, flows, [], SizingPolicy())
    >>> store.purpose, store.usable_l, round(store.volume_l, 1), store.item
    ('pressurised_tank', 4.0, 6.6, None)
    >>> round(store.reserve_hours, 1)
    9.6
    """
    return tuple(_store(request, choice, catalogue, policy, draw) for draw in _draws(request, policy))


class _Draw(NamedTuple):
    """What one branch is asked for at once, and in a week."""

    purpose: str
    demand_l_per_week: float
    litres: float
    window_h: float
    is_assumed: bool


def _draws(request: SizingRequest, policy: SizingPolicy) -> Iterator[_Draw]:
    taps, containers = request.tap_demand_l_per_week, request.container_demand_l_per_week
    peak_draw_l, window = request.survey.peak_draw_l, request.survey.draw_window_h
    if taps and peak_draw_l is None:
        usual = policy.tap_draw_share * taps / 7.0
        yield _Draw("pressurised_tank", taps, usual, policy.tap_draw_window_h, is_assumed=True)
    elif taps and peak_draw_l is not None:
        yield _Draw("pressurised_tank", taps, peak_draw_l, window, is_assumed=False)
    if containers:
        is_assumed = peak_draw_l is None or bool(taps)
        yield _Draw("open_tank", containers, 0.0 if is_assumed else peak_draw_l or 0.0, window, is_assumed)


def _store(
    request: SizingRequest, choice: FlowChoice, catalogue: Sequence[Item], policy: SizingPolicy, usage: _Draw
) -> Storage:
    purpose, demand_l_per_week, draw, window, is_assumed = usage
    usable = float(tank_usable_volume_l(draw, choice.winter_flow_l_per_day, window))
    if purpose == "pressurised_tank":
        usable = max(usable, policy.least_tap_store_l)
    reserve = (request.reserve_days or 0.0) * demand_l_per_week / 7.0
    share = _usable_share(purpose, choice.inlet_pressure_kpa, policy)
    volume = max(usable, reserve) / share
    return Storage(
        purpose=purpose,
        usable_l=max(usable, reserve),
        volume_l=volume,
        draw_l=draw,
        window_h=window,
        is_assumed=is_assumed,
        item=_tank(request, catalogue, purpose, volume),
        demand_l_per_week=demand_l_per_week,
        is_for_reserve=reserve > usable,
    )


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
