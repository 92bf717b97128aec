"""What can hurt people, animals or a house, said with every offer it applies to."""

from collections.abc import Iterator

from fleet.engineering.cautions import WARMEST_FEED_DEGC
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.offer import Remark, SizingRequest
from fleet.engineering.sizing.words import cautions as words
from fleet.engineering.sizing.words.quantities import in_words
from fleet.engineering.units import TEMPERATURE


def cautions_on(request: SizingRequest, choice: FlowChoice) -> tuple[Remark, ...]:
    """Return the cautions of one configuration.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("coffee", 70.0),), SiteSurvey("coffee", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> [caution.code for caution in cautions_on(request, flows)]
    ['air_gap', 'pressure', 'cold_water', 'flush', 'metals', 'no_health_claim', 'light_proof_store']
    """
    limit = in_words(WARMEST_FEED_DEGC, TEMPERATURE, request.unit_system)
    return (
        Remark("air_gap", *words.air_gap()),
        Remark("pressure", *words.pressure()),
        Remark("cold_water", *words.cold_water(limit)),
        Remark("flush", *words.flush_new_parts(with_resin=request.resin_demand_l_per_week > 0.0)),
        Remark("metals", *words.metals()),
        *_by_what_is_there(request, choice),
        *_drinking(request),
    )


def _by_what_is_there(request: SizingRequest, choice: FlowChoice) -> Iterator[Remark]:
    has_lamp = is_well_unsafe(request)
    if choice.is_pumped or choice.is_degassed:
        yield Remark("electricity", *words.electricity())
    if has_lamp:
        yield Remark("uv_lamp", *words.uv_lamp())
        if not request.has_power:
            yield Remark("uv_lamp_without_power", *words.uv_lamp_without_power())
    if request.resin_demand_l_per_week > 0.0:
        yield Remark("resin_is_irritant", *words.resin_is_irritant())
        yield Remark("dispose_of_resin", *words.dispose_of_resin())
    if any(entry.use in ("reef", "planted", "fish") for entry in request.uses):
        yield Remark("test_before_fish", *words.test_before_fish())


def _drinking(request: SizingRequest) -> Iterator[Remark]:
    if request.tap_demand_l_per_week > 0.0:
        yield Remark("no_health_claim", *words.no_health_claim())
        yield Remark("light_proof_store", *words.light_proof_store())
        if request.resin_demand_l_per_week > 0.0:
            yield Remark("drink_before_resin", *words.drink_before_resin())
    elif request.resin_demand_l_per_week > 0.0:
        yield Remark("not_for_drinking", *words.not_for_drinking())


def is_well_unsafe(request: SizingRequest) -> bool:
    """Return whether people would drink from an own well that nobody found free of bacteria and nothing disinfects.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> well = SiteSurvey("drinking", 70.0, 420.0, 8.0, 14.0, 250.0, disinfectant="none", is_own_well=True)
    >>> is_well_unsafe(SizingRequest((WaterUse("drinking", 70.0),), well))
    True
    >>> is_well_unsafe(SizingRequest((WaterUse("reef", 70.0),), well))
    False
    """
    survey = request.survey
    is_disinfected = survey.disinfectant in ("chlorine", "chloramine")
    is_drunk = request.tap_demand_l_per_week > 0.0
    return survey.is_own_well and is_drunk and survey.bacteria_test != "none_found" and not is_disinfected


def of_own_well(request: SizingRequest) -> Iterator[Remark]:
    """Yield what must be said first of an own well, nothing of a supplied water.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> well = SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0, is_own_well=True)
    >>> [remark.code for remark in of_own_well(SizingRequest((WaterUse("reef", 70.0),), well))]
    ['test_well_yearly']
    """
    if is_well_unsafe(request):
        yield Remark("well_not_tested", *words.well_not_tested())
    elif request.survey.is_own_well:
        yield Remark("test_well_yearly", *words.test_well_yearly())
