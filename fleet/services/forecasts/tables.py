"""A company's records as the tables that forecasting reads: whole columns from the database, no row objects."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import compress, islice
from typing import Any, Final

import numpy as np
from django.db.models import F, FloatField, Func, IntegerField
from django.db.models.functions import Cast

from accounts.models import Company
from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.engineering.limits import Limits, stacked
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.build import Fault, build_fleet
from fleet.forecasting.inputs.tables import Fleet, Floats
from fleet.intake.names import public_name
from fleet.models import CatalogueItem, FeedWaterSample, Instrument, Placement, Position, Reading, Stage, Unit
from fleet.services.limits import limits_of_units
from fleet.services.many_units import ids_to_name, of_units

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
_VOCABULARIES: Final = {
    "state": words.FLOW_STATES,
    "tank_valve": words.VALVE_STATES,
    "pump": words.PUMP_STATES,
    "tank_is_full": words.FLAGS,
    "sampled_after_flush": words.FLAGS,
    "occasion": words.OCCASIONS,
    "source": words.SOURCES,
}
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
    "maximum_service_time_days",
    "rated_burning_hours",
)


class _AsItIs:
    """An expression whose values are taken as the database gives them: a call for each of a million rows is dear."""

    @property
    def convert_value(self) -> Any:
        """No conversion."""
        return self._convert_value_noop  # type: ignore[attr-defined]


class DayNumber(_AsItIs, Func):
    """Days since 1970-01-01 UTC of a moment, counted by the database: a float for each row, and no object."""

    output_field = FloatField()

    def __init__(self, field: str) -> None:
        super().__init__(F(field))

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        # 2440587.5 is the Julian day of 1970-01-01T00:00Z; resolves milliseconds.
        return self.as_sql(compiler, connection, template="(julianday(%(expressions)s) - 2440587.5)", **context)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        template = "(extract(epoch from %(expressions)s)::double precision / 86400.0)"
        return self.as_sql(compiler, connection, template=template, **context)


class FlagNumber(_AsItIs, Cast):
    """A yes-or-no column as 1, 0 or nothing."""

    def __init__(self, field: str) -> None:
        super().__init__(field, IntegerField())


def batched(rows: Iterable[Any], size: int) -> Iterator[list[Any]]:
    """Lists of so many rows, the last one shorter."""
    iterator = iter(rows)
    while batch := list(islice(iterator, size)):
        yield batch


def end_of_day(company: Company, day: date) -> float:
    """The last second of a company's day, in days since 1970-01-01 UTC: whatever was read that day is known then."""
    midnight = datetime.combine(day + timedelta(days=1), time(), tzinfo=company.zone)
    return (midnight.timestamp() - 1.0) / SECONDS_PER_DAY


def day_number(at: datetime | None) -> float:
    """Days since 1970-01-01 UTC; NaN for none."""
    return float("nan") if at is None else at.timestamp() / SECONDS_PER_DAY


@dataclass(frozen=True)
class LoadedFleet:
    """Tables of some units.

    Attributes
    ----------
    fleet
        The tables.
    faults
        What of the records could not be used.
    reading_ids
        Id of every row of the fleet's readings.
    limits
        What counts as exhausted, one value for every row of the fleet's units.
    """

    fleet: Fleet
    faults: list[Fault]
    reading_ids: list[int]
    limits: Limits[Floats]


def load_fleet(
    *, company: Company, unit_ids: Sequence[int], as_of_day: float, with_corrected: bool = False
) -> LoadedFleet:
    """Read some units of a company with everything that bears on their forecast.

    Parameters
    ----------
    unit_ids
        Units to read, in the order of the rows; those of another company are left out.
    as_of_day
        Days since 1970-01-01 UTC; later readings stay out.
    with_corrected
        Also read what was corrected, marked with the day on which the correction came: for the replay of earlier days.
    """
    known_by = datetime.fromtimestamp(as_of_day * SECONDS_PER_DAY, tz=UTC)
    units = unit_columns(company, unit_ids)
    own_ids = units["unit_id"]
    # A handful of sites and items more than the units use costs less than asking for each.
    supply_of = dict(zip(units["site_id"], units.pop("supply"), strict=True))
    # The same works written by another hand.
    supply_of = {pk: " ".join(name.split()).casefold() for pk, name in supply_of.items()}
    site_ids = sorted(supply_of)
    positions = _columns(
        Position.objects.filter(unit_id__in=own_ids).order_by("unit_id", "order", "pk"),
        {"position_id": "pk", "unit_id": "unit_id", "order": "order", "stage": "stage", "role": "role"},
    )
    readings, reading_ids = _readings(own_ids, known_by, with_corrected)
    fleet, faults = build_fleet(
        as_of_day=as_of_day,
        sites={"site_id": site_ids, "supply": [supply_of[pk] for pk in site_ids]},
        units=units,
        positions=positions,
        items=item_columns(company),
        placements=_placements(own_ids, known_by),
        readings=readings,
        feed_water=_feed_water(site_ids, known_by),
    )
    dropped = {fault.row for fault in faults if fault.table == "readings" and fault.row_dropped}
    kept_ids = [pk for row, pk in enumerate(reading_ids) if row not in dropped] if dropped else reading_ids
    limits = limits_of_units(company, own_ids)
    return LoadedFleet(fleet, faults, kept_ids, stacked([limits[pk] for pk in fleet.units.unit_id.tolist()]))


def _columns(rows: Any, fields: dict[str, str]) -> dict[str, list[Any]]:
    """Columns of a queryset by their name in the table."""
    values = list(rows.values_list(*fields.values()).iterator(chunk_size=_AT_ONCE))
    columns = zip(*values, strict=True) if values else [() for _ in fields]
    return {name: list(column) for name, column in zip(fields, columns, strict=True)}


def unit_columns(company: Company, unit_ids: Sequence[int]) -> dict[str, list[Any]]:
    """What is recorded of some units of a company themselves, column by column, in order of their ids."""
    named = ids_to_name(company, unit_ids)
    columns = _columns(
        of_units(Unit.objects.of_company(company), named, "pk").order_by("pk"),
        {
            "unit_id": "pk",
            "site_id": "site_id",
            "supply": "site__supply",
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
    if named is None:
        asked = set(unit_ids)
        is_asked = [pk in asked for pk in columns["unit_id"]]
        columns = {name: list(compress(column, is_asked)) for name, column in columns.items()}
    columns["has_pressure_tank"] = [tank == Unit.Tank.PRESSURISED for tank in columns.pop("tank")]
    columns["totaliser"] = ["" if stream == Unit.Stream.NONE else stream for stream in columns["totaliser"]]
    columns["commissioned_day"] = [float(day.toordinal() - _EPOCH) for day in columns.pop("commissioned_on")]
    resolutions = _tds_resolutions(company, unit_ids)
    columns["tds_resolution_mg_per_l"] = [resolutions.get(pk) for pk in columns["unit_id"]]
    return columns


def _tds_resolutions(company: Company, unit_ids: Sequence[int]) -> dict[int, float]:
    """Smallest step of the TDS meter fitted to each unit."""
    meters = of_units(
        Instrument.objects.of_company(company).filter(unit__isnull=False, resolution__gt=0),
        ids_to_name(company, unit_ids),
        "unit_id",
    )
    resolutions: dict[int, float] = {}
    for unit_id, measures, resolution in meters.order_by("pk").values_list("unit_id", "measures", "resolution"):
        if any("tds" in str(name) for name in measures or ()):
            resolutions[unit_id] = min(resolution, resolutions.get(unit_id, resolution))
    return resolutions


def item_columns(company: Company) -> dict[str, list[Any]]:
    """The catalogue, as far as cartridges go, column by column."""
    columns = _columns(
        CatalogueItem.objects.of_company(company).filter(kind__in=Stage.values).order_by("pk"),
        {"item_id": "pk", "stage": "kind", "assumed": "assumed", **{name: name for name in _ITEM_FIELDS}},
    )
    # What was assumed says nothing of the cartridge: the forecast takes what the fleet teaches, and is less sure.
    for place, assumed in enumerate(columns.pop("assumed")):
        for name in _ITEM_FIELDS if assumed else ():
            if public_name(name) in assumed:
                columns[name][place] = "" if name == "membrane_material" else None
    return columns


def _placements(unit_ids: Sequence[int], known_by: datetime) -> dict[str, list[Any]]:
    columns = _columns(
        Placement.objects.filter(position__unit_id__in=unit_ids, placed_at__lte=known_by)
        .annotate(
            placed_day=DayNumber("placed_at"),
            removed_day=DayNumber("removed_at"),
            first_installed_day=DayNumber("first_installed_at"),
        )
        .order_by("position_id", "placed_at", "pk"),
        {
            "placement_id": "pk",
            "position_id": "position_id",
            "item_id": "item_id",
            "placed_day": "placed_day",
            "removed_day": "removed_day",
            "reason": "removal",
            "first_installed_day": "first_installed_day",
            "continued_from": "continues_id",
        },
    )
    # A removal later than the day of the forecast was not known then.
    latest = day_number(known_by)
    is_installed = [day is None or day > latest for day in columns["removed_day"]]
    for name, absent in (("removed_day", None), ("reason", "")):
        columns[name] = [
            absent if installed else value for installed, value in zip(is_installed, columns[name], strict=True)
        ]
    return columns


def _readings(unit_ids: Sequence[int], known_by: datetime, with_corrected: bool) -> tuple[dict[str, Any], list[int]]:
    """Readings that count, as arrays, and their ids; with the corrected and voided ones and their days if wanted."""
    own_readings = Reading.objects.filter(unit_id__in=unit_ids)
    # Corrections are few: leaving the corrected out here costs less than a join for every reading.
    corrections = list(own_readings.filter(corrects__isnull=False).values_list("pk", "corrects_id", "received_at"))
    corrected = set() if with_corrected else {old for _, old, _ in corrections}
    in_force = {} if with_corrected else {"voided_at__isnull": True}
    words_of = {name: FlagNumber(name) for name in ("tank_is_full", "sampled_after_flush")}
    flags = {f"{name}_code": as_number for name, as_number in words_of.items()}
    names = [f"{name}_code" if name in words_of else name for name in _READING_WORDS]
    rows = (
        own_readings.filter(taken_at__lte=known_by, **in_force)
        .annotate(day_taken=DayNumber("taken_at"), **flags)
        .order_by("unit_id", "taken_at", "pk")
        .values_list("pk", "unit_id", "day_taken", "minutes_since_start", *Reading.QUANTITIES, *names[1:])
        .iterator(chunk_size=_AT_ONCE)
    )
    numbers = ("minutes_since_start", *Reading.QUANTITIES)
    parts: dict[str, list[Any]] = {name: [] for name in ("unit_id", "day", *numbers, *_READING_WORDS[1:])}
    ids: list[int] = []
    for batch in batched(rows, _AT_ONCE):
        if corrected:
            batch = [row for row in batch if row[0] not in corrected]
            if not batch:
                continue
        columns = list(zip(*batch, strict=True))
        ids.extend(columns[0])
        parts["unit_id"].append(np.array(columns[1], dtype=np.int64))
        for name, values in zip(("day", *numbers), columns[2:], strict=False):
            parts[name].append(np.array(values, dtype=np.float64))
        for name, values in zip(_READING_WORDS[1:], columns[3 + len(numbers) :], strict=True):
            parts[name].append(words.encode(values, _VOCABULARIES[name]))
    if not ids:
        return {name: [] for name in parts}, []
    table: dict[str, Any] = {name: np.concatenate(arrays) for name, arrays in parts.items()}
    table["unit_id"] = table["unit_id"].tolist()
    if with_corrected:
        received_day = {new: day_number(at) for new, _, at in corrections}
        voided = own_readings.filter(voided_at__isnull=False).values_list("pk", "voided_at")
        superseded = {pk: day_number(at) for pk, at in voided}
        superseded.update((old, day_number(at)) for _, old, at in corrections)
        nothing = float("nan")
        table["known_day"] = [received_day.get(pk, nothing) for pk in ids]
        table["superseded_day"] = [superseded.get(pk, nothing) for pk in ids]
    return table, ids


def _feed_water(site_ids: Sequence[int], known_by: datetime) -> dict[str, list[Any]]:
    rows = (
        FeedWaterSample.objects.current()
        .filter(site_id__in=site_ids, taken_at__lte=known_by)
        .annotate(day=DayNumber("taken_at"))
        .order_by("site_id", "taken_at", "pk")
    )
    names = {name: name for name in FeedWaterSample.QUANTITIES}
    return _columns(rows, {"site_id": "site_id", "day": "day", **names})


def list_units_in_use(company: Company, day: date) -> list[int]:
    """Ids of the units that are not retired, in order."""
    rows = Unit.objects.of_company(company).filter(Unit.is_in_use_on(day))
    return list(rows.order_by("pk").values_list("pk", flat=True))
