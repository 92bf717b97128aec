"""What is asked at a site before a unit is laid out, and what the company's practice is."""

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Final

from fleet.engineering.arrays import in_range
from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.limits import HOUSE, Limits, stricter, tightest
from fleet.engineering.usual import (
    PUMP_CUSTOMARY_BELOW_KPA,
    PUMP_STOPS_AT_KPA,
    RUN_HOURS_PER_DAY,
    TANK_PRECHARGE_KPA,
)

DISINFECTANTS: Final = ("chlorine", "chloramine", "none", "unknown")
BACTERIA_TESTS: Final = ("none_found", "found", "unknown")


@dataclass(frozen=True)
class SiteSurvey:
    """A site as surveyed; None where it was not measured, and the offer then says what it assumed.

    Attributes
    ----------
    use : str
        A key of `TARGETS`.
    demand_l_per_week : float
        Product water, above 0.
    lowest_line_pressure_kpa : float
        Gauge, while flowing, at the worst time of day.
    lowest_temperature_degc, usual_temperature_degc : float
        Feed in winter and through the year, 1 to 45 degC.
    highest_temperature_degc : float, optional
        Feed in the warmest weeks, not below the usual one, to 45 degC; None where nobody said.
    highest_static_pressure_kpa : float, optional
        Gauge, when nothing flows, at its highest of the day; not below the lowest flowing one. None where not read.
    feed_tds_mg_per_l : float
        0.5 scale, above 0.
    hardness_mg_per_l_as_caco3, alkalinity_mg_per_l_as_caco3, ph, silica_mg_per_l, total_chlorine_mg_per_l,
    iron_mg_per_l, manganese_mg_per_l : float, optional
        Water analysis.
    disinfectant : str
        What the supplier adds: ``"chlorine"``, ``"chloramine"``, ``"none"`` or ``"unknown"``.
    is_own_well : bool
        Whether the water comes from a well of the household and not from a supplier.
    bacteria_test : str
        Of an own well: ``"none_found"``, ``"found"``, or ``"unknown"`` where it was not tested.
    peak_draw_l : float, optional
        The largest draw; None where nobody said, and then half a day's water for a tap.
    draw_window_h : float
        The time it is spread over.

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
    peak_draw_l: float | None = None
    draw_window_h: float = 1.0
    highest_temperature_degc: float | None = None
    highest_static_pressure_kpa: float | None = None
    is_own_well: bool = False
    bacteria_test: str = "unknown"

    def __post_init__(self) -> None:
        if self.use not in TARGETS:
            raise EngineeringError("use", f"{self.use!r} is not a use; it is one of {', '.join(TARGETS)}.")
        if self.disinfectant not in DISINFECTANTS:
            raise EngineeringError("disinfectant", f"{self.disinfectant!r} is not one of {', '.join(DISINFECTANTS)}.")
        if self.bacteria_test not in BACTERIA_TESTS:
            allowed = ", ".join(BACTERIA_TESTS)
            raise EngineeringError("bacteria_test", f"{self.bacteria_test!r} is not one of {allowed}.")
        ranges: dict[str, tuple[float, float, bool]] = {
            "demand_l_per_week": (0.0, 1.0e5, True),
            "lowest_line_pressure_kpa": (0.0, 1100.0, True),
            "lowest_temperature_degc": (1.0, 45.0, False),
            "usual_temperature_degc": (1.0, 45.0, False),
            "highest_temperature_degc": (1.0, 45.0, False),
            "highest_static_pressure_kpa": (0.0, 2500.0, True),
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
        warmest, static = self.highest_temperature_degc, self.highest_static_pressure_kpa
        if warmest is not None and warmest < self.usual_temperature_degc:
            raise EngineeringError("highest_temperature_degc", "The highest temperature cannot be below the usual one.")
        if static is not None and static < self.lowest_line_pressure_kpa:
            raise EngineeringError(
                "highest_static_pressure_kpa", "The static pressure cannot be below the one while water flows."
            )


@dataclass(frozen=True)
class SizingPolicy:
    """The company's practice; every default is common practice without a source and may be changed.

    Attributes
    ----------
    run_hours_per_day, least_run_hours_per_day : float
        What a unit is sized for in winter, and below which a remark is made.
    pump_below_kpa, pump_pressure_kpa : float
        Membrane inlet below which a booster pump is advised, and the inlet pressure it gives.
    highest_line_kpa : float
        Line pressure above which a regulator is fitted, and what it is set to.
    prefilter_allowance_kpa : float
        What prefilters take between two changes.
    limits : Limits
        What counts as exhausted at the site, whatever the use: when cartridges are replaced, the least rejection of a
        membrane and the flow left at the end of its life.
    limits_by_use : mapping
        Use -> its limits, where the company has its own; see `limits_of`.
    most_membranes : int
        Elements of one kind side by side behind one restrictor.
    most_waste_ratio : float
        Up to which a restrictor is widened for the warmest water; beyond, only a softener helps.
    waste_ratios : tuple of float
        Ratios tried, the least waste first.
    least_ratio_up_to_hardness : tuple of (float, float)
        Hardness in mg/L as CaCO3 -> least ratio customary up to it, rising.
    highest_langelier : float
        Index of the concentrate above which the waste ratio is raised, and the feed softened if none is enough.
    silica_passage_fraction : float
        Share of the silica that passes the membrane.
    second_carbon_above_chlorine_mg_per_l, second_carbon_above_feed_l_per_h, second_resin_above_l_per_week : float
        When a second position is customary.
    least_cartridge_days : float
        A resin cartridge that lasts less is offered only where none lasts longer.
    salt_g_per_eq : float
        Salt a softener takes for each equivalent of hardness (from memory: 100 to 150).
    years_compared : float
        Over which first and running cost are added up.
    co2_behind_degassing_mg_per_l : float
        Left by an aerated open tank; in equilibrium with air it would be about 0.6 at 25 degC (from memory).
    starts_per_day, flush_l_per_start : float
        How often a unit starts, and the feed water that flushes one membrane at each start.
    tank_precharge_kpa, tank_full_kpa : float
        Of a pressurised tank, gauge: empty, and where filling stops at the latest.
    open_tank_usable_fraction : float
        Of the volume of an open tank, between float valve and outlet.
    tap_draw_share, tap_draw_window_h, least_tap_store_l : float
        What a tap is taken to draw where nobody said: this share of a day's water in this time; and the least stored.
    coffee_hardness_mg_per_l_as_caco3, coffee_alkalinity_mg_per_l_as_caco3 : float
        What coffee is blended to where nobody said.
    tap_flow_l_per_day : float
        What passes an open tap, for what disinfects before it: 2 L/min.
    tubing_m : int
        Metres of tubing an offer counts.
    """

    run_hours_per_day: float = RUN_HOURS_PER_DAY
    least_run_hours_per_day: float = 1.0
    pump_below_kpa: float = PUMP_CUSTOMARY_BELOW_KPA
    pump_pressure_kpa: float = 80.0 * KILOPASCAL_PER_PSI
    highest_line_kpa: float = 80.0 * KILOPASCAL_PER_PSI
    prefilter_allowance_kpa: float = 8.0 * KILOPASCAL_PER_PSI
    limits: Limits[float] = HOUSE
    limits_by_use: Mapping[str, Limits[float]] = field(default_factory=dict)
    most_membranes: int = 4
    most_waste_ratio: float = 8.0
    waste_ratios: tuple[float, ...] = (2.0, 3.0, 4.0, 5.0)
    least_ratio_up_to_hardness: tuple[tuple[float, float], ...] = ((60.0, 2.0), (171.0, 3.0), (float("inf"), 4.0))
    highest_langelier: float = 0.5
    silica_passage_fraction: float = 0.04
    second_carbon_above_chlorine_mg_per_l: float = 2.0
    second_carbon_above_feed_l_per_h: float = 20.0
    second_resin_above_l_per_week: float = 100.0
    least_cartridge_days: float = 14.0
    salt_g_per_eq: float = 120.0
    years_compared: float = 5.0
    co2_behind_degassing_mg_per_l: float = 2.0
    starts_per_day: float = 2.0
    flush_l_per_start: float = 1.5
    tank_precharge_kpa: float = TANK_PRECHARGE_KPA
    tank_full_kpa: float = PUMP_STOPS_AT_KPA
    open_tank_usable_fraction: float = 0.8
    tap_draw_share: float = 0.5
    tap_draw_window_h: float = 0.5
    least_tap_store_l: float = 4.0
    coffee_hardness_mg_per_l_as_caco3: float = 70.0
    coffee_alkalinity_mg_per_l_as_caco3: float = 45.0
    tap_flow_l_per_day: float = 2880.0
    tubing_m: int = 6

    @classmethod
    def of_limits(cls, limits_by_use: Mapping[str, Limits[float]]) -> "SizingPolicy":
        """Return the usual practice for a unit that serves these uses by their limits.

        Parameters
        ----------
        limits_by_use : mapping
            Use -> `Limits`, one use at least. The strictest of each holds for what all uses share.

        Returns
        -------
        SizingPolicy
            Everything else as usual.

        Raises
        ------
        ValueError
            Without a use.

        Examples
        --------
        >>> pair = {"reef": tightest([{"lead_resin_fraction": 0.5}]), "coffee": HOUSE}
        >>> SizingPolicy.of_limits(pair).limits.lead_resin_fraction
        0.5
        """
        if not limits_by_use:
            raise ValueError("A unit serves one use at least: give the limits of each.")
        shared = {
            one.name: functools.reduce(
                functools.partial(stricter, one.name), [getattr(limits, one.name) for limits in limits_by_use.values()]
            )
            for one in fields(Limits)
        }
        return cls(limits=Limits(**shared), limits_by_use=limits_by_use)

    def limits_of(self, use: str) -> Limits[float]:
        """Return the limits that the water of one use is held to: the company's, or what the use usually asks for.

        Raises
        ------
        KeyError
            A use that is none; `SiteSurvey` refuses it before.

        Examples
        --------
        >>> SizingPolicy().limits_of("planted").product_tds_mg_per_l
        20.0
        """
        usual = {"product_tds_mg_per_l": TARGETS[use].product_tds_high_mg_per_l}
        return self.limits_by_use.get(use) or tightest([usual])
