"""What finishes the water on its way to a tap: taste filter, minerals, lamp; each with a life of its own."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.sizing.blending import blend_for
from fleet.engineering.sizing.cautions import is_well_unsafe
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.offer import TAP_USES, Item, Life, Part, Remark, SizingRequest, WaterUse
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.wear import Taste, cost_per_year, life_of
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words import finishing as words
from fleet.engineering.stages import FINISHING, rated_days

_FLAT_BELOW_MG_PER_L: Final = 20.0
"""Drinking water with less in it tastes flat and is slightly acid; many want minerals in it again. Common practice, no
source."""


@dataclass(frozen=True)
class Wanted:
    """A stage that a use asks for: the water that passes it, why, and the fitting that it comes with, if any.

    `is_taste` marks what people may leave out as they like it; nobody misses it where the catalogue has none.
    """

    stage: str
    water_l_per_day: float
    sentences: Sentences
    comes_with: str = ""
    is_taste: bool = False


def wanted_by(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> Iterator[Wanted]:
    """Yield the stages behind the membrane that the uses ask for, in the order of the water.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        What the membrane leaves in the water.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    iterator of Wanted
        Each with the reason for it.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("drinking", 70.0),), SiteSurvey("drinking", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> [wanted.stage for wanted in wanted_by(request, flows, SizingPolicy())]
    ['post_carbon', 'remineralisation']
    """
    tap = request.tap_demand_l_per_week / 7.0
    if tap > 0.0:
        yield Wanted("post_carbon", tap, words.post_carbon())
    poor = [entry for entry in request.uses if wants_minerals_by_cartridge(entry, request, choice, policy)]
    if poor:
        water = sum(entry.demand_l_per_week for entry in poor) / 7.0
        is_taste = all(entry.use == "drinking" for entry in poor)
        sentences = words.remineralisation([entry.use for entry in poor], is_taste=is_taste)
        yield Wanted("remineralisation", water, sentences, is_taste=is_taste)
    if is_well_unsafe(request):
        yield Wanted("uv", tap, words.uv_lamp(), "uv_unit")


def wants_minerals(entry: WaterUse, request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> bool:
    """Return whether a use wants more in its water than the membrane leaves there, and no blending gives it back.

    Parameters
    ----------
    entry : WaterUse
        The use.
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        What the membrane leaves in the water.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    bool
        Whether it does.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> tap = WaterUse("drinking", 70.0)
    >>> request = SizingRequest((tap,), SiteSurvey("drinking", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> wants_minerals(tap, request, flows, SizingPolicy())
    True
    """
    is_blended = entry.use == "coffee" and blend_for(request, choice, policy) is not None
    least = _FLAT_BELOW_MG_PER_L if entry.use == "drinking" else TARGETS[entry.use].product_tds_low_mg_per_l
    return choice.permeate_tds_mg_per_l < least and not is_blended


def wants_minerals_by_cartridge(
    entry: WaterUse, request: SizingRequest, choice: FlowChoice, policy: SizingPolicy
) -> bool:
    """Return whether a use wants them from a cartridge: water of a tap runs through one, a container is dosed.

    Parameters
    ----------
    entry : WaterUse
        The use.
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        What the membrane leaves in the water.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    bool
        Whether it does.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> tap = WaterUse("drinking", 70.0)
    >>> request = SizingRequest((tap,), SiteSurvey("drinking", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> wants_minerals_by_cartridge(tap, request, flows, SizingPolicy())
    True
    """
    return entry.use in TAP_USES and wants_minerals(entry, request, choice, policy)


def finishing_life(stage: str, item: Item, water_l_per_day: float) -> Life:
    """Return the life of what finishes the water: litres of its label, hours by the clock, or its age.

    Parameters
    ----------
    stage : str
        One of `FINISHING`.
    item : Item
        What stands in it.
    water_l_per_day : float
        Water that passes it, above 0.

    Returns
    -------
    Life
        In days, with what ends it.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> round(finishing_life("post_carbon", Item("P", "", "post_carbon", 15.0, rated_volume_l=3000.0), 20.0).days)
    150
    >>> finishing_life("uv", Item("U", "", "uv", 60.0, rated_burning_hours=7200.0), 20.0).days
    300.0
    """
    finishing = FINISHING[stage]
    label = getattr(item, finishing.label)
    oldest = rated_days(stage, item.rated_burning_hours, item.maximum_service_time_days)
    litres = label / water_l_per_day if finishing.load == "product_l" and label else None
    return life_of(stage, capacity_days=litres, maximum_service_time_days=oldest, limit="rated_volume")


def finishing_parts(
    request: SizingRequest,
    choice: FlowChoice,
    catalogue: Sequence[Item],
    policy: SizingPolicy,
    taste: Taste,
    room: int | None,
) -> tuple[list[Part], list[Remark]]:
    """Return the stages behind the membrane that the uses ask for, and what there is none of or no room for.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        What the membrane leaves in the water.
    catalogue : sequence of Item
        All of it.
    policy : SizingPolicy
        The company's practice.
    taste : callable
        Item and cost in a year -> what to have least of.
    room : int or None
        Places for cartridges that are left; None without a limit. A lamp that makes a water safe finds its place.

    Returns
    -------
    list of Part, list of Remark
        A stage that the catalogue has nothing for is left to the remarks.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("drinking", 70.0),), SiteSurvey("drinking", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> shop = [Item("P", "", "post_carbon", 15.0, rated_volume_l=3000.0)]
    >>> parts, remarks = finishing_parts(request, flows, shop, SizingPolicy(), lambda item, cost: cost, None)
    >>> [part.stage for part in parts], [remark.code for remark in remarks]
    (['post_carbon'], [])
    """
    parts: list[Part] = []
    remarks: list[Remark] = []
    for wanted in wanted_by(request, choice, policy):
        lives = [
            (item, finishing_life(wanted.stage, item, wanted.water_l_per_day))
            for item in catalogue
            if item.kind == wanted.stage
        ]
        if not lives:
            if not wanted.is_taste:
                remarks.append(Remark(f"no_{wanted.stage}", *words.none_in_catalogue(wanted.stage)))
        elif room is not None and room <= 0 and wanted.stage != "uv":
            remarks.append(Remark(f"no_room_for_{wanted.stage}", *words.no_room(wanted.stage)))
        else:
            item, life = min(lives, key=lambda pair: taste(pair[0], cost_per_year(*pair)))
            cost = cost_per_year(item, life)
            parts.append(
                Part(wanted.stage, "single", item, life, cost, *wanted.sentences, comes_with=wanted.comes_with)
            )
            room = None if room is None else room - 1
    return parts, remarks
