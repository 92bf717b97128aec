"""What a unit is connected, watched and shut off with: the fittings that outlets, drain and stores ask for."""

from collections.abc import Callable, Iterator, Sequence

from fleet.engineering.sizing.cautions import is_well_unsafe
from fleet.engineering.sizing.choosing import by_capacity, cheapest
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.offer import Fitting, Item, SizingRequest
from fleet.engineering.sizing.storage import Storage
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words import connections as words
from fleet.engineering.sizing.words.quantities import in_words
from fleet.engineering.units import FLOW, LENGTH, VOLUME

_Of = Callable[..., Fitting]


def connections_for(
    request: SizingRequest,
    choice: FlowChoice,
    catalogue: Sequence[Item],
    stores: Sequence[Storage],
    policy: SizingPolicy,
) -> tuple[Fitting, ...]:
    """Return what a configuration is connected, watched and shut off with.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        Membranes, pressure and waste.
    catalogue : sequence of Item
        All of it.
    stores : sequence of Storage
        What is stored, for taps and for open containers.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    tuple of Fitting
        Every unit gets a shut-off valve and a check valve, and for an open container a float valve that closes them.

    Raises
    ------
    EngineeringError
        An unknown system of units.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> store = Storage("open_tank", 0.0, 0.0, 0.0, 1.0, True, None, 70.0)
    >>> [one.purpose for one in connections_for(request, flows, [], [store], SizingPolicy())][:3]
    ['float_valve', 'automatic_shutoff_valve', 'check_valve']
    """

    def of(purpose: str, size: str, sentences: Sentences, count: int = 1) -> Fitting:
        return Fitting(purpose, cheapest(purpose, catalogue), size, *sentences, count)

    return (
        *_outlets(request, catalogue, stores, policy, of),
        *_shut_off(request, of),
        *_watched(request, choice, of),
        *_plumbing(request, policy, of),
    )


def _outlets(
    request: SizingRequest, catalogue: Sequence[Item], stores: Sequence[Storage], policy: SizingPolicy, of: _Of
) -> Iterator[Fitting]:
    if 0.0 < request.resin_demand_l_per_week < request.demand_l_per_week:
        yield of("tee", "", words.tee())
    for store in stores:
        if store.usable_l > 0.0:
            usable, draw, volume = (
                in_words(value, VOLUME, request.unit_system) for value in (store.usable_l, store.draw_l, store.volume_l)
            )
            sentences = words.storage(
                draw,
                store.window_h,
                reserve_days=(request.reserve_days or 0.0) if store.is_for_reserve else 0.0,
                is_assumed=store.is_assumed,
                has_precharge=store.purpose == "pressurised_tank",
            )
            yield Fitting(store.purpose, store.item, words.storage_size(volume, usable), *sentences)
    if is_well_unsafe(request):
        flow = in_words(policy.tap_flow_l_per_day, FLOW, request.unit_system)
        able = by_capacity("uv_unit", catalogue, policy.tap_flow_l_per_day)
        yield Fitting("uv_unit", able, words.uv_unit_size(flow), *words.uv_unit())
    if any(entry.use == "drinking" for entry in request.uses):
        yield of("tap", words.tap_size(), words.tap())


def _shut_off(request: SizingRequest, of: _Of) -> Iterator[Fitting]:
    has_container = request.container_demand_l_per_week > 0.0
    if has_container:
        yield of("float_valve", "", words.float_valve())
    has_tank = request.tap_demand_l_per_week > 0.0
    yield of("automatic_shutoff_valve", "", words.automatic_shutoff_valve(has_tank, has_container))
    yield of("check_valve", "", words.check_valve(has_tank))


def _watched(request: SizingRequest, choice: FlowChoice, of: _Of) -> Iterator[Fitting]:
    yield of("leak_detector", "", words.leak_detector())
    yield of("pressure_gauge", "", words.pressure_gauges(choice.is_pumped), 2)
    yield of("tds_meter", "", words.tds_meter(request.resin_demand_l_per_week > 0.0))


def _plumbing(request: SizingRequest, policy: SizingPolicy, of: _Of) -> Iterator[Fitting]:
    yield of("drain_connection", "", words.drain_connection())
    length = in_words(float(policy.tubing_m), LENGTH, request.unit_system)
    yield of("tubing", words.tubing_size(length), words.tubing(), policy.tubing_m)
