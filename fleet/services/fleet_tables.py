"""A company's records as the tables that forecasting reads: whole columns from the database, no row objects."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Q

from accounts.models import Company
from fleet.forecasting.build import Fault, build_fleet
from fleet.forecasting.tables import Fleet
from fleet.models import CatalogueItem, FeedWaterSample, Instrument, Placement, Position, Reading, Stage, Unit

_SECONDS_A_DAY: Final = 86400.0
_EPOCH: Final = date(1970, 1, 1).toordinal()
_AT_ONCE: Final = 5000

_READING_WORDS: Final = (
    "minutes_since_start",
    "state",
    "tank_valve",
    "pump",
    "tank_is_full",
    "sampled_after_flush",
    "occasion",
    "source",
)
_ITEM_FIELDS: Final = (
    "micron_rating_um",
    "rated_volume_l",
    "carbon_kind",
    "carbon_volume_l",
    "chlorine_capacity_g",
    "rated_flow_l_per_day",
    "rated_pressure_kpa",
    "rated_temperature_degc",
    "rated_tds_mg_per_l",
    "rated_recovery_fraction",
    "membrane_material",
    "rejection_fraction",
    "water_u_kelvin",
    "resin_volume_l",
    "resin_capacity_eq_per_l",
    "life_cap_days",
)


def company_day(company: Company, now: datetime) -> date:
    """The working day of the company's office at a moment."""
    return now.astimezone(ZoneInfo(company.time_zone)).date()


def end_of_day(company: Company, day: date) -> float:
    """The last second of a company's day, in days since 1970-01-01 UTC: whatever was read that day is known then."""
    midnight = datetime.combine(day + timedelta(days=1), time(), tzinfo=ZoneInfo(company.time_zone))
    return (midnight.timestamp() - 1.0) / _SECONDS_A_DAY


def day_number(at: datetime | None) -> float:
    """Days since 1970-01-01 UTC; NaN for none."""
    return float("nan") if at is None else at.timestamp() / _SECONDS_A_DAY


def load_fleet(*, company: Company, unit_ids: Sequence[int], as_of_day: float) -> tuple[Fleet, list[Fault]]:
    """Read some units of a company with everything that bears on their forecast.

    Parameters
    ----------
    unit_ids
        Units to read, in the order of the rows.
    as_of_day
        Days since 1970-01-01 UTC; later readings stay out.

    Returns
    -------
    fleet, faults
        The tables and what of the records could not be used.
    """
    known_by = datetime.fromtimestamp(as_of_day * _SECONDS_A_DAY, tz=UTC)
    units = _units(company, unit_ids)
    # A handful of sites and items more than the units use costs less than asking for each.
    site_ids = sorted(set(units["site_id"]))
    positions = _columns(
        Position.objects.of_company(company).filter(unit_id__in=unit_ids).order_by("unit_id", "order", "pk"),
        {"position_id": "pk", "unit_id": "unit_id", "order": "order", "stage": "stage", "role": "role"},
    )
    return build_fleet(
        as_of_day=as_of_day,
        sites={"site_id": site_ids, "supply": [""] * len(site_ids)},
        units=units,
        positions=positions,
        items=_items(company),
        placements=_placements(company, unit_ids, known_by),
        readings=_readings(company, unit_ids, known_by),
        feed_water=_feed_water(company, site_ids, known_by),
    )


def _columns(rows: Any, fields: dict[str, str]) -> dict[str, list[Any]]:
    """Columns of a queryset by their name in the table."""
    values = list(rows.values_list(*fields.values()).iterator(chunk_size=_AT_ONCE))
    columns = zip(*values, strict=True) if values else [() for _ in fields]
    return {name: list(column) for name, column in zip(fields, columns, strict=True)}


def _units(company: Company, unit_ids: Sequence[int]) -> dict[str, list[Any]]:
    columns = _columns(
        Unit.objects.of_company(company).filter(pk__in=unit_ids).order_by("pk"),
        {
            "unit_id": "pk",
            "site_id": "site_id",
            "use": "use",
            "kind": "kind",
            "weekly_demand_l": "weekly_demand_l",
            "product_tds_target_mg_per_l": "product_tds_target_mg_per_l",
            "recovery_fraction": "design_recovery_fraction",
            "restrictor_flow_l_per_day": "restrictor_flow_l_per_day",
            "has_booster_pump": "has_booster_pump",
            "tank": "tank",
            "is_chloraminated": "site__chloraminated",
            "totaliser": "totaliser",
            "commissioned_on": "commissioned_on",
        },
    )
    columns["has_pressure_tank"] = [tank == Unit.Tank.PRESSURISED for tank in columns.pop("tank")]
    columns["totaliser"] = ["" if stream == Unit.Stream.NONE else stream for stream in columns["totaliser"]]
    columns["commissioned_day"] = [float(day.toordinal() - _EPOCH) for day in columns.pop("commissioned_on")]
    resolutions = _tds_resolutions(company, unit_ids)
    columns["tds_resolution_mg_per_l"] = [resolutions.get(pk) for pk in columns["unit_id"]]
    return columns


def _tds_resolutions(company: Company, unit_ids: Sequence[int]) -> dict[int, float]:
    """Smallest step of the TDS meter fitted to each unit."""
    meters = Instrument.objects.of_company(company).filter(unit_id__in=unit_ids, resolution__gt=0)
    found: dict[int, float] = {}
    for unit_id, measures, resolution in meters.order_by("pk").values_list("unit_id", "measures", "resolution"):
        if any("tds" in str(name) for name in measures or ()):
            found[unit_id] = min(resolution, found.get(unit_id, resolution))
    return found


def _items(company: Company) -> dict[str, list[Any]]:
    return _columns(
        CatalogueItem.objects.of_company(company).filter(kind__in=Stage.values).order_by("pk"),
        {"item_id": "pk", "stage": "kind", **{name: name for name in _ITEM_FIELDS}},
    )


def _placements(company: Company, unit_ids: Sequence[int], known_by: datetime) -> dict[str, list[Any]]:
    columns = _columns(
        Placement.objects.of_company(company)
        .filter(position__unit_id__in=unit_ids, placed_at__lte=known_by)
        .order_by("position_id", "placed_at", "pk"),
        {
            "placement_id": "pk",
            "position_id": "position_id",
            "item_id": "item_id",
            "placed_at": "placed_at",
            "removed_at": "removed_at",
            "reason": "removal",
            "first_installed_at": "first_installed_at",
            "continued_from": "continues_id",
        },
    )
    placed, removed = columns.pop("placed_at"), columns.pop("removed_at")
    columns["placed_day"] = [day_number(at) for at in placed]
    columns["first_installed_day"] = [day_number(at) for at in columns.pop("first_installed_at")]
    # A removal later than the day of the forecast was not known then.
    still = [at is None or at > known_by for at in removed]
    columns["removed_day"] = [
        float("nan") if stays else day_number(at) for stays, at in zip(still, removed, strict=True)
    ]
    columns["reason"] = ["" if stays else why for stays, why in zip(still, columns["reason"], strict=True)]
    return columns


def _readings(company: Company, unit_ids: Sequence[int], known_by: datetime) -> dict[str, Any]:
    rows = (
        Reading.objects.current()
        .of_company(company)
        .filter(unit_id__in=unit_ids, taken_at__lte=known_by)
        .order_by("unit_id", "taken_at", "pk")
    )
    names = {name: name for name in (*Reading.QUANTITIES, *_READING_WORDS)}
    columns: dict[str, Any] = _columns(rows, {"unit_id": "unit_id", "taken_at": "taken_at", **names})
    columns["day"] = [day_number(at) for at in columns.pop("taken_at")]
    for name in Reading.QUANTITIES:
        columns[name] = np.array(columns[name], dtype=np.float64)
    return columns


def _feed_water(company: Company, site_ids: Sequence[int], known_by: datetime) -> dict[str, list[Any]]:
    rows = (
        FeedWaterSample.objects.current()
        .of_company(company)
        .filter(site_id__in=site_ids, taken_at__lte=known_by)
        .order_by("site_id", "taken_at", "pk")
    )
    names = {name: name for name in FeedWaterSample.QUANTITIES}
    columns = _columns(rows, {"site_id": "site_id", "taken_at": "taken_at", **names})
    columns["day"] = [day_number(at) for at in columns.pop("taken_at")]
    return columns


def standing_units(company: Company, day: date) -> list[int]:
    """Ids of the units that are not retired, in order."""
    rows = Unit.objects.of_company(company).filter(Q(retired_on__isnull=True) | Q(retired_on__gte=day))
    return list(rows.order_by("pk").values_list("pk", flat=True))
