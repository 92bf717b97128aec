"""Headers that people write for those of the guide, and headers that can mean two things."""

from collections.abc import Mapping
from typing import Final

from fleet.engineering.quantities import READING_QUANTITIES

_UNIT: Final = "unit id, unit code, unit no, unit number, unit name"
_SITE: Final = "site id, site code, site no, site number, site name"
_ROLE: Final = "lead or lag, first or second"
_ITEM: Final = "item id, item code, item no, item number, cartridge, part, part no, part number, model"
_INSTALLED: Final = "put in, fitted, installed"
_TEMPERATURE: Final = "temp, water temp, water temperature"

OTHER_HEADERS: Final[Mapping[str, Mapping[str, str]]] = {
    "sites.csv": {"site_id": _SITE, "supply": "water works, district, water supply"},
    "units.csv": {
        "unit_id": _UNIT,
        "site_id": _SITE,
        "use": "used for, purpose, type",
        "kind": "type, unit type",
        "weekly_demand_l": (
            "weekly use, weekly usage, weekly consumption, use per week, usage per week, demand per week, water use, "
            "water usage, usage, consumption, demand, daily use, daily usage, daily demand, daily consumption"
        ),
        "product_tds_target_mg_per_l": "tds target, target tds, product tds limit, tds limit",
        "restrictor_flow_l_per_day": "restrictor, flow restrictor",
        "minimum_rejection_fraction": "min rejection, lowest rejection",
        "tds_factor": "meter factor, tds meter factor, conversion factor, tds conversion factor",
        "tds_resolution_mg_per_l": "meter resolution, tds meter resolution, resolution",
        "has_booster_pump": "has booster pump, booster, pump",
        "has_pressure_tank": "has pressure tank, tank, storage tank",
        "is_chloraminated": "is chloraminated, chloramine, chloramines",
        "totaliser": "totaliser stream, totalizer, totalizer stream, counter, water meter",
        "commissioned_day": f"started, {_INSTALLED}",
    },
    "positions.csv": {
        "position_id": "position no, position name, position code",
        "unit_id": _UNIT,
        "stage": "cartridge, filter, type",
        "role": _ROLE,
        "order": "place in train, place, no",
    },
    "items.csv": {
        "item_id": f"{_ITEM}, name",
        "stage": "type, kind",
        "carbon_kind": "type, kind",
        "membrane_material": "type, kind, material",
        "micron_rating_um": "micron, microns, pore size, rating",
        "rated_burning_hours": "burning hours, lamp hours, lamp life, rated hours",
        "maximum_service_time_days": "maximum service life, service life, maximum age",
    },
    "placements.csv": {
        "placement_id": "placement no, placement number",
        "position_id": "position no, position name, position code",
        "unit_id": _UNIT,
        "stage": "cartridge, filter, type",
        "role": _ROLE,
        "item_id": f"{_ITEM}, filter, type",
        "placed_day": f"in, {_INSTALLED}",
        "removed_day": "out, taken out",
        "reason": "removal, removal reason, why, why removed, reason removed, reason for removal, reason of removal",
        "first_installed_day": "first fitted, first placed",
        "continued_from": "moved from",
    },
    "readings.csv": {
        "unit_id": _UNIT,
        "day": "date, day, when, date and time, read, reading, taken, sampled, measured",
        **{quantity.name: quantity.also for quantity in READING_QUANTITIES if quantity.also},
        "tank_valve": "tank, valve",
        "minutes_since_start": "minutes running, running time, run time, minutes run",
        "pump": "booster, booster pump",
        "tank_is_full": "tank full, full tank",
        "sampled_after_flush": "flushed, after flush",
        "source": "read by, taken by, who, by",
    },
    "feed_water.csv": {
        "site_id": _SITE,
        "day": "date, day, when, date and time, sampled, sample, taken, read, measured",
        "alkalinity_mg_per_l_as_caco3": "total alkalinity, carbonate hardness, kh",
        "hardness_mg_per_l_as_caco3": "total hardness, gh",
        "tds_mg_per_l": "feed tds, tap tds, conductivity",
        "temperature_degc": _TEMPERATURE,
    },
}
"""By file and by field of the tables, separated by commas; of times also in every form of FORMS_OF_DAY. One header may
stand at several fields: it is the one whose unit or whose words the column has."""

FORMS_OF_DAY: Final = ("{0}", "{0} on", "{0} at", "{0} day", "{0} date", "date {0}", "day {0}")
"""Headers of a column of times, by what was done then."""

_WHICH_TDS: Final = "write 'feed tds', 'permeate tds' (behind the membrane) or 'product tds' (behind the resin)"
_WHICH_PRESSURE: Final = (
    "write 'line pressure' (before the unit), 'prefilter outlet pressure', 'inlet pressure' (at the membrane) or "
    "'tank pressure'"
)
_WHICH_CHLORINE: Final = (
    "write 'feed', 'interstage' or 'carbon outlet' before it, and whether it is free or total: "
    "'carbon outlet total chlorine'"
)
_WHICH_FLOW: Final = "write 'permeate flow' or 'concentrate flow' (to drain)"
_WHICH_DAY: Final = "write 'placed' for the day a cartridge came in and 'removed' for the day it left"
_FREE_OR_TOTAL: Final = "write 'free chlorine' or 'total chlorine'"


def _each(headers: str, sentence: str) -> dict[str, str]:
    return dict.fromkeys(headers.split(", "), sentence)


UNCLEAR_HEADERS: Final[Mapping[str, Mapping[str, str]]] = {
    "placements.csv": {
        **_each(
            "changed, changed on, date changed, replaced, replaced on, date replaced, swapped, swapped on", _WHICH_DAY
        ),
        **_each("date, day, time, when", _WHICH_DAY),
    },
    "readings.csv": {
        **_each(
            "pressure, gauge, gauge pressure, feed pressure, pressure in, pressure out, pressure before",
            _WHICH_PRESSURE,
        ),
        **_each("pressure after, gauge reading, filter pressure", _WHICH_PRESSURE),
        **_each("tds, conductivity, ec, tds reading", _WHICH_TDS),
        **_each("chlorine, free chlorine, total chlorine, chlorine in, chlorine out, cl2", _WHICH_CHLORINE),
        **_each("feed chlorine, tap chlorine, carbon outlet chlorine, chlorine after carbon", _FREE_OR_TOTAL),
        **_each("flow, flow rate", _WHICH_FLOW),
        "ph": "write 'feed ph' or 'product ph'",
        "rejection": "write 'feed tds' and 'permeate tds', from which it follows",
    },
    "feed_water.csv": _each("chlorine, cl2", _FREE_OR_TOTAL),
}
"""By file: what would be right instead of a header that can mean two things, or nothing that is read."""
