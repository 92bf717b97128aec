"""What sizing is asked, what the catalogue can give, and what an offer holds."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from accounts.language import gettext_noop
from fleet.engineering.arrays import in_range
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.sizing.survey import SiteSurvey

# Supply and drain together, in whatever currency the company counts (common practice, no source).
ASSUMED_WATER_PRICE_PER_M3: Final = 4.0
LIMITED_BY: Final = {
    "capacity": gettext_noop("the capacity of the item"),
    "rated_volume": gettext_noop("the volume on its label"),
    "maximum_service_time": gettext_noop("its maximum service time"),
}
"""What ends the life of a cartridge."""
LEAST_PASSAGE_FRACTION: Final = 0.02
"""Of the salts of the feed the best membranes let so much pass (common practice, no source)."""
# Uses that draw from a tap, and so want their water stored under pressure.
TAP_USES: Final = ("drinking", "coffee")


@dataclass(frozen=True)
class WaterUse:
    """One use of the water and what it takes in a week.

    Attributes
    ----------
    use : str
        A key of `TARGETS`.
    demand_l_per_week : float
        Above 0.
    limit_mg_per_l : float, optional
        Highest product TDS, 0.5 scale, above 0; needed for the use ``"other"``, which has none of its own, and for no
        other.
    hardness_mg_per_l_as_caco3, alkalinity_mg_per_l_as_caco3 : float, optional
        What the water is to have, above 0; for coffee alone, None for the usual.
    """

    use: str
    demand_l_per_week: float
    limit_mg_per_l: float | None = None
    hardness_mg_per_l_as_caco3: float | None = None
    alkalinity_mg_per_l_as_caco3: float | None = None

    def __post_init__(self) -> None:
        if self.use not in TARGETS:
            raise EngineeringError("use", f"{self.use!r} is not a use; it is one of {', '.join(TARGETS)}.")
        if not 0.0 < self.demand_l_per_week <= 1.0e5:
            raise EngineeringError("demand_l_per_week", "A demand lies above 0 and up to 100000 L a week.")
        if (self.limit_mg_per_l is None) is (self.use == "other"):
            raise EngineeringError(
                "limit_mg_per_l", "The use 'other' needs its highest TDS; the other uses have limits of their own."
            )
        for name in ("hardness_mg_per_l_as_caco3", "alkalinity_mg_per_l_as_caco3"):
            wanted = getattr(self, name)
            if wanted is not None and (self.use != "coffee" or not 0.0 < wanted <= 500.0):
                raise EngineeringError(name, "Only coffee has a target of it, above 0 and up to 500 mg/L as CaCO3.")
        if self.limit_mg_per_l is not None and not 0.0 < self.limit_mg_per_l <= 5000.0:
            raise EngineeringError("limit_mg_per_l", "A limit lies above 0 and up to 5000 mg/L.")


@dataclass(frozen=True)
class SizingRequest:
    """A site, the uses of its water, and what there is room and power for.

    Attributes
    ----------
    uses : tuple of WaterUse
        At least one; several share one membrane.
    survey : SiteSurvey
        The site and its water. Its use and demand are not read here; those of `uses` count.
    has_power : bool
        Whether a booster pump can be supplied.
    most_cartridges : int, optional
        Places for cartridges and membranes, all together.
    largest_tank_l : float, optional
        Largest tank there is room for; None without a limit.
    water_price_per_m3 : float, optional
        Of supply and drain, in the company's currency; `ASSUMED_WATER_PRICE_PER_M3` where it is not known, since water
        counted as free would make waste the cheapest way to better permeate.
    coldest_is_known : bool
        False where the usual temperature stands in for the lowest.
    starts_per_day, flush_l_per_start : float, optional
        How often it starts, and the water that flushes one membrane then; None for the company's practice.
    reserve_days : float, optional
        How long what is stored shall serve the usual demand while the unit stands still; None where nobody asked.
    run_hours_per_day : float, optional
        How long it may run in winter; None for the company's practice.
    membranes : int, optional
        How many stand side by side; None for as few as do.
    visit_cost, replacement_cost : float
        In the company's currency: of coming to the site, driving aside, and of each replacement there; 0 where the
        company prices neither.
    unit_system : {"metric", "us"}
        Units of the sentences.
    currency : str
        Of the prices, for the sentences.
    """

    uses: tuple[WaterUse, ...]
    survey: SiteSurvey
    has_power: bool = True
    most_cartridges: int | None = None
    largest_tank_l: float | None = None
    water_price_per_m3: float | None = None
    coldest_is_known: bool = True
    starts_per_day: float | None = None
    flush_l_per_start: float | None = None
    reserve_days: float | None = None
    run_hours_per_day: float | None = None
    membranes: int | None = None
    visit_cost: float = 0.0
    replacement_cost: float = 0.0
    unit_system: str = "metric"
    currency: str = ""

    def __post_init__(self) -> None:
        if not self.uses:
            raise EngineeringError("uses", "Name at least one use of the water.")
        if len({entry.use for entry in self.uses}) < len(self.uses):
            raise EngineeringError("uses", "Name each use once, with its whole demand.")
        for name, (low, high) in _LIMITS.items():
            value = getattr(self, name)
            if value is not None and float(in_range(value, name, low, high)) != value:
                raise EngineeringError(name, "A number is needed here; leave the field out if it is not known.")

    @property
    def water_price(self) -> float:
        """Price of a cubic metre, as given or assumed."""
        return ASSUMED_WATER_PRICE_PER_M3 if self.water_price_per_m3 is None else self.water_price_per_m3

    @property
    def demand_l_per_week(self) -> float:
        """Water of all uses together."""
        return sum(entry.demand_l_per_week for entry in self.uses)

    @property
    def resin_demand_l_per_week(self) -> float:
        """Water of the uses that only deionised water serves."""
        return sum(entry.demand_l_per_week for entry in self.uses if self.needs_resin(entry))

    def needs_resin(self, entry: WaterUse) -> bool:
        """Whether a use is served by deionised water alone: always, or because no membrane holds its own limit."""
        if entry.limit_mg_per_l is not None:
            return entry.limit_mg_per_l < LEAST_PASSAGE_FRACTION * self.survey.feed_tds_mg_per_l
        return TARGETS[entry.use].needs_resin

    @property
    def tap_demand_l_per_week(self) -> float:
        """Water of the uses that draw from a tap, out of a pressurised tank."""
        return sum(entry.demand_l_per_week for entry in self.uses if entry.use in TAP_USES)

    @property
    def container_demand_l_per_week(self) -> float:
        """Water of the uses that are filled from an open container."""
        return sum(entry.demand_l_per_week for entry in self.uses if entry.use not in TAP_USES)


_LIMITS: Final[Mapping[str, tuple[float, float]]] = {
    "most_cartridges": (1.0, 1000.0),
    "largest_tank_l": (0.0, 1.0e5),
    "water_price_per_m3": (0.0, 1.0e6),
    "starts_per_day": (0.0, 200.0),
    "flush_l_per_start": (0.0, 50.0),
    "reserve_days": (0.0, 60.0),
    "run_hours_per_day": (0.5, 24.0),
    "membranes": (1.0, 20.0),
    "visit_cost": (0.0, 1.0e6),
    "replacement_cost": (0.0, 1.0e6),
}


@dataclass(frozen=True)
class Item:
    """Something of the catalogue, with what sizing needs of it; None where the label does not say."""

    code: str
    name: str
    kind: str
    price: float
    maximum_service_time_days: float | None = None
    rated_volume_l: float | None = None
    carbon_kind: str = ""
    carbon_volume_l: float | None = None
    chlorine_capacity_g: float | None = None
    rating: MembraneRating | None = None
    resin_volume_l: float | None = None
    resin_capacity_eq_per_l: float | None = None
    purpose: str = ""
    rated_flow_l_per_day: float | None = None
    rated_pressure_kpa: float | None = None
    rated_burning_hours: float | None = None


@dataclass(frozen=True)
class Life:
    """How long a cartridge should serve: the middle, and the range that holds in eight cases of ten.

    `limited_by` is one of `LIMITED_BY`.
    """

    days: float
    from_days: float
    to_days: float
    limited_by: str


@dataclass(frozen=True)
class Part:
    """Cartridges of one kind in their place of the train; `cost_per_year` is that of all `count` of them.

    `comes_with` is the purpose of the fitting that brings the first one, so that it is not bought twice; empty: none.
    """

    stage: str
    role: str
    item: Item
    life: Life
    cost_per_year: float
    for_installer: str
    for_client: str
    count: int = 1
    comes_with: str = ""

    @property
    def price(self) -> float:
        """Of all of them, when the unit is bought."""
        return 0.0 if self.comes_with else self.item.price * self.count


@dataclass(frozen=True)
class Fitting:
    """Something beside the cartridges, by its purpose; `item` is None where the catalogue has nothing that fits."""

    purpose: str
    item: Item | None
    size: str
    for_installer: str
    for_client: str
    count: int = 1

    @property
    def price(self) -> float:
        """Of all of them; 0 where the catalogue has none."""
        return self.item.price * self.count if self.item is not None else 0.0


@dataclass(frozen=True)
class Remark:
    """A code, and a sentence for who fits the unit and one for who pays it."""

    code: str
    for_installer: str
    for_client: str


@dataclass(frozen=True)
class Outlet:
    """Where one use takes its water, and what it gets there.

    `branch` is ``"membrane"`` or ``"resin"``; `tds_mg_per_l` is None behind resin, which gives less than a meter shows
    until it is due; `limit_mg_per_l` is the highest allowed for the use.
    """

    use: str
    demand_l_per_week: float
    branch: str
    tds_mg_per_l: float | None
    limit_mg_per_l: float
    for_installer: str
    for_client: str


@dataclass(frozen=True)
class Alternative:
    """One configuration with its numbers.

    Attributes
    ----------
    best_for : tuple of str
        ``"least_first_cost"``, ``"least_running_cost"``, ``"least_waste"``, ``"least_cost_over_years"``; empty
        where it is only another way.
    layout : str
        ``"ro"``, ``"ro_di"``, or ``"tee"`` where a branch before the resin serves the uses that want none.
    parts : tuple of Part
        The train from the feed on.
    fittings : tuple of Fitting
        Housings, restrictor, pump, tank, softener and the like.
    outlets : tuple of Outlet
        Each use with its branch.
    inlet_pressure_kpa : float
        Membrane inlet, gauge.
    usual_permeate_flow_l_per_day, winter_permeate_flow_l_per_day : float
        Of all membranes: new at the usual temperature; aged, at the lowest.
    usual_run_hours_per_day, winter_run_hours_per_day : float
        At those flows, with what a pressurised tank takes longer to fill.
    waste_ratio, recovery_fraction : float
        Concentrate over permeate; permeate over feed.
    restrictor_ml_per_min : float
        Of the one restrictor behind all membranes, at the usual temperature.
    waste_l_per_week, flush_l_per_week, feed_l_per_week : float
        To the drain, flush water included; the flush water in it; from the supply.
    permeate_tds_mg_per_l : float
        Expected.
    concentrate_langelier_index : float or None
        None where the water is not known well enough.
    tank_usable_volume_l : float
        Stored water that draw and reserve ask for.
    reserve_hours : float
        How long the water stored lasts at the usual demand when the unit stops, of full tanks and for the use that is
        left without first; 0 where nothing is stored for one.
    first_cost, consumables_per_year, consumables_per_1000_l, water_per_year, running_cost_per_year : float
        In the company's currency; the first cost is that of cartridges and fittings of the catalogue, without labour.
    labour_per_year : float
        Of the visits that replacements ask for: as many as what is replaced most often, the rest joining them. Part of
        the running cost.
    reasons : tuple of Remark
        Why it is as it is, what was assumed, what to mind.
    missing : tuple of Remark
        What it needs and the catalogue does not have; `first_cost` is without it.
    for_installer, for_client : str
        The whole of it in a sentence.
    """

    best_for: tuple[str, ...]
    layout: str
    parts: tuple[Part, ...]
    fittings: tuple[Fitting, ...]
    outlets: tuple[Outlet, ...]
    inlet_pressure_kpa: float
    usual_permeate_flow_l_per_day: float
    winter_permeate_flow_l_per_day: float
    usual_run_hours_per_day: float
    winter_run_hours_per_day: float
    waste_ratio: float
    recovery_fraction: float
    restrictor_ml_per_min: float
    waste_l_per_week: float
    flush_l_per_week: float
    feed_l_per_week: float
    permeate_tds_mg_per_l: float
    concentrate_langelier_index: float | None
    tank_usable_volume_l: float
    reserve_hours: float
    first_cost: float
    consumables_per_year: float
    consumables_per_1000_l: float
    water_per_year: float
    labour_per_year: float
    running_cost_per_year: float
    reasons: tuple[Remark, ...] = ()
    missing: tuple[Remark, ...] = ()
    for_installer: str = ""
    for_client: str = ""

    def has(self, purpose: str) -> bool:
        """Whether a fitting of this purpose is part of it."""
        return any(fitting.purpose == purpose for fitting in self.fittings)

    @property
    def has_booster_pump(self) -> bool:
        """Whether a pump is part of it."""
        return self.has("booster_pump")

    @property
    def membrane(self) -> Part:
        """The membranes in their place."""
        return next(part for part in self.parts if part.stage == "membrane")


@dataclass(frozen=True)
class Offer:
    """Alternatives side by side, and what to know of them together.

    None where the catalogue cannot serve, and then `missing` says what it lacks.
    """

    alternatives: tuple[Alternative, ...]
    missing: tuple[Remark, ...] = field(default=())
    remarks: tuple[Remark, ...] = field(default=())
