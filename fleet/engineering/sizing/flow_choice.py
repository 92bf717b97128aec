"""One way to serve a site: the membranes, what stands before them, and what they give."""

from dataclasses import dataclass

from fleet.engineering.sizing.offer import Item


@dataclass(frozen=True)
class FlowChoice:
    """Membranes at one waste ratio, with or without pump, softener and degassing, and what they give at the site.

    Attributes
    ----------
    membrane : Item
        Of the catalogue.
    inlet_pressure_kpa : float
        Membrane inlet.
    waste_ratio : float
        Concentrate over permeate.
    usual_flow_l_per_day, winter_flow_l_per_day : float
        Of all membranes: new at the usual temperature; aged, at the lowest.
    usual_run_hours_per_day, winter_run_hours_per_day : float
        For what the membranes make of the demand, with what a pressurised tank takes longer to fill.
    permeate_tds_mg_per_l : float
        Expected.
    langelier : float or None
        Of the concentrate.
    membranes : int
        Side by side.
    is_pumped, is_softened, is_degassed : bool
        Whether a booster pump, a softener and degassing before the resin belong to it.
    """

    membrane: Item
    inlet_pressure_kpa: float
    waste_ratio: float
    usual_flow_l_per_day: float
    winter_flow_l_per_day: float
    usual_run_hours_per_day: float
    winter_run_hours_per_day: float
    permeate_tds_mg_per_l: float
    langelier: float | None = None
    membranes: int = 1
    is_pumped: bool = False
    is_softened: bool = False
    is_degassed: bool = False
