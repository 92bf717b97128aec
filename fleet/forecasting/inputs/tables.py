"""What a forecast is made from: a whole fleet as a handful of tables, each a struct of numpy arrays.

All times are float days since 1970-01-01 UTC. Floats are SI-derived with the unit in the name; NaN means missing, never
zero. Closed vocabularies are small integers (see `vocabulary`). A row refers to a row of another table by its index.
The tables are frozen; `build.build_fleet` makes them from columns with ids and reports what it could not use.
"""

# ruff: noqa: RUF009  (the calls in the class bodies return dataclass field specifiers)

from collections.abc import Iterable
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.quantities import READING_QUANTITIES
from fleet.engineering.units import QUANTITY_KINDS
from fleet.engineering.usual import METER_STEP_MG_PER_L
from fleet.forecasting.inputs import vocabulary as words

Floats = NDArray[np.floating[Any]]
Codes = NDArray[np.int8]
Indexes = NDArray[np.int64]
Bools = NDArray[np.bool_]
Ids = NDArray[np.object_]


def _ids() -> Any:
    return field(metadata={"column": "id"})


def _text() -> Any:
    return field(metadata={"column": "text"})


def _reference(table: str, *, required: bool = True) -> Any:
    return field(metadata={"column": "reference", "table": table, "required": required})


def _number(low: float, high: float, *, required: bool = False, default: float = float("nan")) -> Any:
    return field(metadata={"column": "number", "low": low, "high": high, "required": required, "default": default})


def _word(vocabulary: tuple[str, ...], *, required: bool = False) -> Any:
    return field(metadata={"column": "word", "vocabulary": vocabulary, "required": required})


def _flag() -> Any:
    return field(metadata={"column": "flag"})


_ANY = (-1e12, 1e12)


def _possible(name: str) -> Any:
    """Number of a quantity that has to lie in its possible range."""
    return _number(QUANTITY_KINDS[name].low, QUANTITY_KINDS[name].high)


def _add_quantities(namespace: dict[str, Any]) -> None:
    """Give the body of a table a column for each quantity of a reading."""
    for quantity in READING_QUANTITIES:
        namespace["__annotations__"][quantity.name] = Floats
        namespace[quantity.name] = _number(*_ANY)


DAYS: Final = (-3652.0, 73050.0)  # 1960 to 2170: anything else is a broken clock or a wrong unit of time


class Table:
    """Common to all tables: length and row selection."""

    def __len__(self) -> int:
        return len(getattr(self, fields(self)[0].name))  # type: ignore[arg-type]

    def take(self, rows: Indexes | Bools) -> Self:
        """The same table with only these rows, in this order (an index array or a boolean mask)."""
        chosen = {f.name: getattr(self, f.name)[rows] for f in fields(self)}  # type: ignore[arg-type]
        return replace(self, **chosen)  # type: ignore[type-var]


@dataclass(frozen=True)
class Sites(Table):
    """Where units stand.

    `supply` names the water works or district that feeds the site; sites with the same word share what is learned about
    the water. Empty when not known.
    """

    site_id: Ids = _ids()
    supply: Ids = _text()


@dataclass(frozen=True)
class Units(Table):
    """One treatment unit a row.

    Attributes
    ----------
    weekly_demand_l
        Product water used per week as told by the client; 0 means that the unit is not used.
    product_tds_target_mg_per_l
        What the use needs after the last stage; for RO/DI the limit at which the resin counts as exhausted. NaN: the
        limit of the house.
    recovery_fraction
        Permeate over feed by design, 0 to 1. NaN: from the restrictor, else from flows, else the fleet.
    restrictor_flow_l_per_day
        Rated concentrate flow of the flow restrictor.
    totaliser
        Which stream the counter counts (`vocabulary.TOTALISER_STREAMS`).
    is_chloraminated
        Whether the supply is disinfected with chloramine, so that total chlorine is what counts.
    minimum_rejection_fraction
        Normalised rejection below which the membrane no longer serves the use. NaN: the limit of the house.
    tds_resolution_mg_per_l
        Smallest step of the TDS meter in use at this unit.
    """

    unit_id: Ids = _ids()
    site_index: Indexes = _reference("sites")
    use: Codes = _word(words.USES)
    kind: Codes = _word(words.KINDS)
    weekly_demand_l: Floats = _number(0.0, 1e6)
    product_tds_target_mg_per_l: Floats = _number(0.0, 5000.0)
    recovery_fraction: Floats = _number(0.01, 0.95)
    restrictor_flow_l_per_day: Floats = _number(1.0, 1e5)
    minimum_rejection_fraction: Floats = _number(0.0, 1.0)
    tds_resolution_mg_per_l: Floats = _number(0.001, 10.0, default=METER_STEP_MG_PER_L)
    has_booster_pump: Codes = _flag()
    has_pressure_tank: Codes = _flag()
    is_chloraminated: Codes = _flag()
    totaliser: Codes = _word(words.TOTALISER_STREAMS)
    commissioned_day: Floats = _number(*DAYS)


@dataclass(frozen=True)
class Positions(Table):
    """One place for a cartridge a row; `order` counts along the train from the feed."""

    position_id: Ids = _ids()
    unit_index: Indexes = _reference("units")
    order: Floats = _number(0.0, 100.0, required=True)
    stage: Codes = _word(words.STAGES, required=True)
    role: Codes = _word(words.ROLES)


@dataclass(frozen=True)
class Items(Table):
    """Catalogue items that can stand in a position. Only the attributes of the item's own stage are read."""

    item_id: Ids = _ids()
    stage: Codes = _word(words.STAGES, required=True)
    micron_rating_um: Floats = _number(0.05, 500.0)
    rated_volume_l: Floats = _number(1.0, 1e8)
    carbon_kind: Codes = _word(words.CARBON_KINDS)
    carbon_volume_l: Floats = _number(0.01, 1000.0)
    chlorine_capacity_g: Floats = _number(0.01, 1e6)
    rated_flow_l_per_day: Floats = _number(1.0, 1e5)
    rated_pressure_kpa: Floats = _number(50.0, 5000.0)
    rated_temperature_degc: Floats = _number(1.0, 45.0)
    rated_tds_mg_per_l: Floats = _number(0.0, 50000.0)
    rated_recovery_fraction: Floats = _number(0.0, 0.95)
    membrane_material: Codes = _word(words.MEMBRANE_MATERIALS)
    rejection_fraction: Floats = _number(0.0, 1.0)
    water_u_kelvin: Floats = _number(500.0, 8000.0)
    resin_volume_l: Floats = _number(0.01, 1000.0)
    resin_capacity_eq_per_l: Floats = _number(0.01, 5.0)
    maximum_service_time_days: Floats = _number(1.0, 36500.0)
    rated_burning_hours: Floats = _number(1.0, 200000.0)


@dataclass(frozen=True)
class Placements(Table):
    """Which cartridge stood in which position, from when to when, and why it left.

    `item_index` is -1 when the item is not known. `removed_day` is NaN while the cartridge stands. A cartridge that was
    rotated in from another position names the placement it came from in `continued_from` (else -1) and keeps the
    `first_installed_day` of its first one.
    """

    placement_id: Ids = _ids()
    position_index: Indexes = _reference("positions")
    item_index: Indexes = _reference("items", required=False)
    placed_day: Floats = _number(*DAYS, required=True)
    removed_day: Floats = _number(*DAYS)
    reason: Codes = _word(words.REMOVAL_REASONS)
    first_installed_day: Floats = _number(*DAYS)
    continued_from: Indexes = _reference("placements", required=False)


@dataclass(frozen=True)
class Readings(Table):
    """One look at the gauges a row. Impossible values are kept here and excluded, with a reason, by `screen`.

    `known_day` and `superseded_day` serve the replay of the past alone: a row that corrects another is not known before
    the first, and one that was corrected counts until the second. NaN: known when read, and never corrected.
    """

    unit_index: Indexes = _reference("units")
    day: Floats = _number(*DAYS, required=True)
    _add_quantities(vars())
    minutes_since_start: Floats = _possible("minutes_since_start")
    state: Codes = _word(words.FLOW_STATES)
    tank_valve: Codes = _word(words.VALVE_STATES)
    pump: Codes = _word(words.PUMP_STATES)
    tank_is_full: Codes = _flag()
    sampled_after_flush: Codes = _flag()
    occasion: Codes = _word(words.OCCASIONS)
    source: Codes = _word(words.SOURCES)
    known_day: Floats = _number(*DAYS)
    superseded_day: Floats = _number(*DAYS)

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> Floats:
            """Column of a quantity; its field is made from the record."""


@dataclass(frozen=True)
class FeedWater(Table):
    """One water report or sample of a site's supply a row."""

    site_index: Indexes = _reference("sites")
    day: Floats = _number(*DAYS, required=True)
    ph: Floats = _possible("ph")
    alkalinity_mg_per_l_as_caco3: Floats = _possible("alkalinity_mg_per_l_as_caco3")
    hardness_mg_per_l_as_caco3: Floats = _possible("hardness_mg_per_l_as_caco3")
    free_chlorine_mg_per_l: Floats = _possible("free_chlorine_mg_per_l")
    total_chlorine_mg_per_l: Floats = _possible("total_chlorine_mg_per_l")
    iron_mg_per_l: Floats = _possible("iron_mg_per_l")
    manganese_mg_per_l: Floats = _possible("manganese_mg_per_l")
    silica_mg_per_l: Floats = _possible("silica_mg_per_l")
    turbidity_ntu: Floats = _possible("turbidity_ntu")
    tds_mg_per_l: Floats = _possible("tds_mg_per_l")
    temperature_degc: Floats = _possible("temperature_degc")


@dataclass(frozen=True)
class Fleet:
    """Everything that was known about a fleet, and the day on which the forecast is made."""

    as_of_day: float
    sites: Sites
    units: Units
    positions: Positions
    items: Items
    placements: Placements
    readings: Readings
    feed_water: FeedWater

    def known_at(self, day: float) -> "Fleet":
        """The fleet as it was known on an earlier day: later readings, samples and placements gone, later removals
        undone, and corrections that came later with them.

        Parameters
        ----------
        day
            Day since 1970-01-01, at most `as_of_day`.
        """
        placements = self.placements
        is_placed = placements.placed_day <= day
        renumbered = np.full(len(placements) + 1, -1, dtype=np.int64)
        renumbered[:-1][is_placed] = np.arange(int(is_placed.sum()))
        early = placements.take(is_placed)
        still = ~(early.removed_day <= day)
        early = replace(
            early,
            removed_day=np.where(still, np.nan, early.removed_day),
            reason=np.where(still, words.NOT_REMOVED, early.reason).astype(np.int8),
            continued_from=renumbered[early.continued_from],
        )
        return replace(
            self,
            as_of_day=float(day),
            placements=early,
            readings=self.readings.take(
                (self.readings.day <= day) & ~(self.readings.known_day > day) & ~(self.readings.superseded_day <= day)
            ),
            feed_water=self.feed_water.take(self.feed_water.day <= day),
        )

    def only_units(self, unit_indexes: Iterable[int]) -> "Fleet":
        """The same fleet with only these units and what belongs to them; all indexes are renumbered.

        Units come in the order of the fleet's own table, whatever the order asked in.
        """
        is_wanted = np.zeros(len(self.units), dtype=bool)
        is_wanted[np.fromiter(unit_indexes, dtype=np.int64)] = True
        sites = np.zeros(len(self.sites), dtype=bool)
        sites[self.units.site_index[is_wanted]] = True
        positions = is_wanted[self.positions.unit_index]
        placements = positions[self.placements.position_index]
        samples = sites[self.feed_water.site_index]
        unit_at, site_at, position_at, placement_at = (
            _renumber(mask) for mask in (is_wanted, sites, positions, placements)
        )
        own_placements = self.placements.take(placements)
        units, readings = self.units.take(is_wanted), self.readings.take(is_wanted[self.readings.unit_index])
        kept_positions, kept_samples = self.positions.take(positions), self.feed_water.take(samples)
        return replace(
            self,
            sites=self.sites.take(sites),
            units=replace(units, site_index=site_at[units.site_index]),
            positions=replace(kept_positions, unit_index=unit_at[kept_positions.unit_index]),
            placements=replace(
                own_placements,
                position_index=position_at[own_placements.position_index],
                continued_from=placement_at[own_placements.continued_from],
            ),
            readings=replace(readings, unit_index=unit_at[readings.unit_index]),
            feed_water=replace(kept_samples, site_index=site_at[kept_samples.site_index]),
        )


def _renumber(is_kept: Bools) -> Indexes:
    """New index of every row by its old one, -1 for rows that went; the last entry answers for an old index of -1."""
    return np.append(np.where(is_kept, np.cumsum(is_kept) - 1, -1), -1).astype(np.int64)
