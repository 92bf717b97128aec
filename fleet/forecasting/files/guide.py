"""The columns of the fleet files: which there are, what they mean, which are needed."""

from dataclasses import dataclass
from typing import Final

from fleet.engineering.nomenclature import WATER_TERMS, without_unit
from fleet.engineering.quantities import READING_QUANTITIES
from fleet.forecasting.inputs import vocabulary as words


@dataclass(frozen=True)
class FileColumn:
    """One column: its header without unit, the field it fills, how it is read, whether a row needs it, what it means.

    `kind` is 'text', 'time', 'quantity' (unit in brackets in the header, or the stored name that holds the unit),
    'number', 'flag' or 'word'.
    """

    header: str
    field: str
    kind: str
    needed: bool
    meaning: str
    words: tuple[str, ...] = ()


def _quantity(field: str, meaning: str) -> FileColumn:
    return FileColumn(without_unit(field).replace("_", " "), field, "quantity", False, meaning)


UNIT: Final = FileColumn("unit", "unit_id", "text", True, "the unit's own name")
SITE: Final = FileColumn("site", "site_id", "text", True, "the site's own name")
STAGE: Final = FileColumn("stage", "stage", "word", True, "which stage", words.STAGES)
ROLE: Final = FileColumn("role", "role", "word", False, "one cartridge, or first and second of two", words.ROLES)

GUIDE: Final[dict[str, tuple[FileColumn, ...]]] = {
    "sites.csv": (
        SITE,
        FileColumn("supply", "supply", "text", False, "water works or district; sites with the same word share water"),
    ),
    "units.csv": (
        UNIT,
        FileColumn(
            "site", "site_id", "text", False, "where it stands; empty: a site of its own"),
        FileColumn("use", "use", "word", False, "what the water is for", words.USES),
        FileColumn("kind", "kind", "word", False, "RO, or RO with resin", words.KINDS),
        FileColumn(
            "weekly demand", "weekly_demand_l", "volume", False, "product water per week as told; 0 when not in use"
        ),
        FileColumn(
            "product tds target", "product_tds_target_mg_per_l", "tds", False, "highest product TDS that the use allows"
        ),
        FileColumn("recovery", "recovery_fraction", "fraction", False, "permeate over feed by design"),
        FileColumn(
            "restrictor flow", "restrictor_flow_l_per_day", "flow", False, "rated concentrate flow of the restrictor"
        ),
        FileColumn(
            "minimum rejection", "minimum_rejection_fraction", "fraction", False, "rejection that the use needs"
        ),
        FileColumn("tds factor", "tds_factor", "number", False, "of its meter, mg/L per uS/cm, for TDS in ppm or mg/L"),
        FileColumn("tds resolution", "tds_resolution_mg_per_l", "tds", False, "smallest step of the TDS meter"),
        FileColumn("booster pump", "has_booster_pump", "flag", False, "yes or no"),
        FileColumn("pressure tank", "has_pressure_tank", "flag", False, "yes or no"),
        FileColumn(
            "chloraminated", "is_chloraminated", "flag", False, "whether the supply carries chloramine"),
        FileColumn(
            "totaliser", "totaliser", "word", False, "stream that the counter counts", words.TOTALISER_STREAMS),
        FileColumn(
            "commissioned", "commissioned_day", "time", False, "when the unit was commissioned"),
    ),
    "positions.csv": (
        FileColumn("position", "position_id", "text", True, "the position's own name"),
        UNIT,
        STAGE,
        ROLE,
        FileColumn("order", "order", "number", False, "place in the train, counted from the feed"),
    ),
    "items.csv": (
        FileColumn("item", "item_id", "text", True, "the item's own name"),
        STAGE,
        _quantity("micron_rating_um", "sediment: nominal rating"),
        _quantity("rated_volume_l", "volume by the label: of feed for sediment, of product behind the resin"),
        FileColumn("carbon kind", "carbon_kind", "word", False, "carbon: form", words.CARBON_KINDS),
        _quantity("carbon_volume_l", "carbon: bed volume"),
        _quantity("chlorine_capacity_g", "carbon: chlorine taken up by the label"),
        _quantity("rated_flow_l_per_day", "membrane: permeate flow at rating conditions"),
        _quantity("rated_pressure_kpa", "membrane: rating condition"),
        _quantity("rated_temperature_degc", "membrane: rating condition"),
        _quantity("rated_tds_mg_per_l", "membrane: rating condition"),
        _quantity("rated_recovery_fraction", "membrane: rating condition"),
        FileColumn(
            "membrane material", "membrane_material", "word", False, "membrane: material", words.MEMBRANE_MATERIALS
        ),
        _quantity("rejection_fraction", "membrane: rejection by the label"),
        FileColumn("water u", "water_u_kelvin", "quantity", False, "membrane: temperature coefficient"),
        _quantity("resin_volume_l", "resin: bed volume"),
        _quantity("resin_capacity_eq_per_l", "resin: capacity"),
        FileColumn("rated burning hours", "rated_burning_hours", "quantity", False, "uv: hours by the label"),
        FileColumn(
            "maximum service time",
            "maximum_service_time_days",
            "quantity",
            False,
            "age from first installation at which it is replaced",
        ),
    ),
    "placements.csv": (
        FileColumn("placement", "placement_id", "text", False, "own name, if another row refers to it"),
        FileColumn("position", "position_id", "text", False, "the position; or give unit, stage and role"),
        FileColumn("unit", "unit_id", "text", False, "the unit, with stage and role"),
        FileColumn("stage", "stage", "word", False, "which stage", words.STAGES),
        ROLE,
        FileColumn("item", "item_id", "text", False, "the item that was placed"),
        FileColumn(
            "placed", "placed_day", "time", True, "when it was placed"),
        FileColumn(
            "removed", "removed_day", "time", False, "when it was removed; empty while it is installed"),
        FileColumn("reason", "reason", "word", False, "why it was removed", words.REMOVAL_REASONS),
        FileColumn(
            "first installed", "first_installed_day", "time", False, "when a rotated cartridge was first in service"),
        FileColumn("continued from", "continued_from", "text", False, "placement that a rotated cartridge came from"),
    ),
    "readings.csv": (
        UNIT,
        FileColumn("time", "day", "time", True, "when it was read"),
        *(_quantity(quantity.name, quantity.meaning) for quantity in READING_QUANTITIES),
        FileColumn(
            "tds out", "outlet_tds_mg_per_l", "tds", False, "permeate of a unit without resin; of others not read"
        ),
        FileColumn("minutes since start", "minutes_since_start", "duration", False, "flow before the reading"),
        FileColumn("state", "state", "word", False, "flowing or static", words.FLOW_STATES),
        FileColumn("tank valve", "tank_valve", "word", False, "open or closed", words.VALVE_STATES),
        FileColumn("pump", "pump", "word", False, "on or off", words.PUMP_STATES),
        FileColumn("tank is full", "tank_is_full", "flag", False, "yes or no"),
        FileColumn("sampled after flush", "sampled_after_flush", "flag", False, "yes or no"),
        FileColumn("occasion", "occasion", "word", False, "before or after work, or neither", words.OCCASIONS),
        FileColumn("source", "source", "word", False, "who read it", words.SOURCES),
    ),
    "feed_water.csv": (
        SITE,
        FileColumn("time", "day", "time", True, "when it was sampled"),
        *(_quantity(term.name, term.meaning) for term in WATER_TERMS),
        _quantity("temperature_degc", "temperature of the sample when it was drawn"),
    ),
}  # fmt: skip

NEEDED_FILES: Final = ("units.csv", "placements.csv")
