"""What is asked at a site before a unit is quoted, and what the company's practice is."""

from dataclasses import dataclass, fields
from typing import Final

from fleet.engineering.arrays import in_range
from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.errors import EngineeringError
from fleet.engineering.expected_flow import MembraneRating
from fleet.engineering.targets import TARGETS

DISINFECTANTS: Final = ("chlorine", "chloramine", "none", "unknown")


@dataclass(frozen=True)
class SiteSurvey:
    """A site as surveyed; None where it was not measured, and the quotation then says what it assumed.

    Attributes
    ----------
    use : str
        ``"reef"``, ``"planted"``, ``"drinking"``, ``"coffee"`` or ``"laboratory"``.
    demand_l_per_week : float
        Product water, above 0.
    lowest_line_pressure_kpa : float
        Gauge, while flowing, at the worst time of day.
    lowest_temperature_degc, usual_temperature_degc : float
        Feed in winter and through the year, 1 to 45 degC.
    feed_tds_mg_per_l : float
        0.5 scale, above 0.
    hardness_mg_per_l_as_caco3, alkalinity_mg_per_l_as_caco3, ph, silica_mg_per_l, total_chlorine_mg_per_l,
    iron_mg_per_l, manganese_mg_per_l : float, optional
        Water analysis.
    disinfectant : str
        What the supplier adds: ``"chlorine"``, ``"chloramine"``, ``"none"`` or ``"unknown"``.
    peak_draw_l, draw_window_h : float
        The largest draw and the time it is spread over.
    has_drinking_outlet : bool
        Whether people also drink from the unit.

    Examples
    --------
    >>> SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0).demand_l_per_week
    140.0
    """

    use: str
    demand_l_per_week: float
    lowest_line_pressure_kpa: float
    lowest_temperature_degc: float
    usual_temperature_degc: float
    feed_tds_mg_per_l: float
    hardness_mg_per_l_as_caco3: float | None = None
    alkalinity_mg_per_l_as_caco3: float | None = None
    ph: float | None = None
    silica_mg_per_l: float | None = None
    total_chlorine_mg_per_l: float | None = None
    iron_mg_per_l: float | None = None
    manganese_mg_per_l: float | None = None
    disinfectant: str = "unknown"
    peak_draw_l: float = 0.0
    draw_window_h: float = 1.0
    has_drinking_outlet: bool = False

    def __post_init__(self) -> None:
        if self.use not in TARGETS:
            raise EngineeringError("use", f"{self.use!r} is not a use; it is one of {', '.join(TARGETS)}.")
        if self.disinfectant not in DISINFECTANTS:
            raise EngineeringError("disinfectant", f"{self.disinfectant!r} is not one of {', '.join(DISINFECTANTS)}.")
        ranges: dict[str, tuple[float, float, bool]] = {
            "demand_l_per_week": (0.0, 1.0e5, True),
            "lowest_line_pressure_kpa": (0.0, 1100.0, True),
            "lowest_temperature_degc": (1.0, 45.0, False),
            "usual_temperature_degc": (1.0, 45.0, False),
            "feed_tds_mg_per_l": (0.0, 5000.0, True),
            "ph": (4.0, 11.0, False),
            "peak_draw_l": (0.0, 1.0e5, False),
            "draw_window_h": (0.0, 168.0, False),
        }
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, str | bool) or value is None:
                continue
            low, high, open_low = ranges.get(item.name, (0.0, 5000.0, False))
            if float(in_range(value, item.name, low, high, open_low=open_low)) != value:
                raise EngineeringError(item.name, "A number is needed here; leave the field out if it is not known.")
        if self.usual_temperature_degc < self.lowest_temperature_degc:
            raise EngineeringError("usual_temperature_degc", "The usual temperature cannot be below the lowest one.")


@dataclass(frozen=True)
class MembraneOption:
    """A membrane of the catalogue with its rating."""

    code: str
    rating: MembraneRating
    highest_pressure_kpa: float = 862.0


@dataclass(frozen=True)
class QuotationPolicy:
    """The company's practice; every default is common practice without a source and may be changed.

    Attributes
    ----------
    run_hours_per_day, most_run_hours_per_day, least_run_hours_per_day : float
        What a unit is sized for in winter, and the range outside which a note is made.
    pump_below_kpa, pump_above_tds_mg_per_l, pump_pressure_kpa : float
        When a booster pump is advised, and the inlet pressure it gives.
    prefilter_allowance_kpa : float
        What prefilters take between two changes.
    ageing_fraction : float
        Flow left at the end of a membrane's life.
    waste_ratios : tuple of float
        Ratios tried, the least waste first.
    least_ratio_up_to_hardness : tuple of (float, float)
        Hardness in mg/L as CaCO3 -> least ratio customary up to it, rising.
    highest_langelier : float
        Index of the concentrate above which the waste ratio is raised, and the feed softened if none is enough.
    """

    run_hours_per_day: float = 8.0
    most_run_hours_per_day: float = 12.0
    least_run_hours_per_day: float = 1.0
    pump_below_kpa: float = 50.0 * KILOPASCAL_PER_PSI
    pump_above_tds_mg_per_l: float = 1000.0
    pump_pressure_kpa: float = 80.0 * KILOPASCAL_PER_PSI
    prefilter_allowance_kpa: float = 8.0 * KILOPASCAL_PER_PSI
    ageing_fraction: float = 0.85
    waste_ratios: tuple[float, ...] = (2.0, 3.0, 4.0, 5.0)
    least_ratio_up_to_hardness: tuple[tuple[float, float], ...] = ((60.0, 2.0), (171.0, 3.0), (float("inf"), 4.0))
    highest_langelier: float = 0.5
    silica_passage_fraction: float = 0.04
    second_carbon_above_chlorine_mg_per_l: float = 2.0
    second_carbon_above_feed_l_per_h: float = 20.0
    second_resin_above_l_per_week: float = 100.0
    resin_volume_l: float = 0.6
    resin_capacity_eq_per_l: float = 0.45
