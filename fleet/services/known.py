"""What is known of each unit, as a short mark: while it stays the same, nothing that is made from it can change.

A mark sees what was added, corrected, taken back or written over, whoever did it and whether or not it was announced;
a new release, or another language of its sentences, changes all of them. Too wide costs a needless look; too narrow
would leave an old answer standing: so whole rows count, but for readings, which are never overwritten.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import cache
from hashlib import blake2b
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.db.models import Count, DateField, DecimalField, JSONField, Max, Q, TextField, TimeField
from django.db.models.functions import Cast

from accounts.language import catalogue_of
from accounts.models import Company
from fleet.engineering.limits import Limits
from fleet.models import CatalogueItem, FeedWaterSample, Instrument, Placement, Position, Reading, Site, Unit
from fleet.services.limits import limits_of_units
from fleet.services.many_units import ids_to_name, of_units

_MAKES_ANSWERS: Final = ("engineering", "services", "models")
"""Rooms of this package whose code says what the answers are."""

_STORED: Final = (DateField, TimeField, JSONField, DecimalField)
"""Fields whose values are dear to make of what is stored: a company has tens of thousands of them."""


def mark(value: object) -> str:
    """A short text that is another one when anything in a value is."""
    return blake2b(repr(value).encode(), digest_size=10).hexdigest()


def marks_of_units(company: Company, unit_ids: Sequence[int]) -> dict[int, str]:
    """Unit id -> mark of what is known of it, its train, its meters, its site, its water, its readings, its limits."""
    named = ids_to_name(company, unit_ids)

    def mine(rows: Any, path: str) -> Any:
        return of_units(rows.of_company(company), named, path)

    readings = _counted(mine(Reading.objects.all(), "unit_id"), "unit_id")
    items = marks_of_items(company)
    trains: dict[int, list[Any]] = defaultdict(list)
    fitted = mine(Placement.objects.all(), "position__unit_id").order_by("pk")
    for unit_id, item_id, *row in fitted.values_list("position__unit_id", "item_id", *_columns(Placement)):
        trains[unit_id].append((items.get(item_id), row))
    for unit_id, *row in (
        mine(Position.objects.all(), "unit_id").order_by("pk").values_list("unit_id", *_columns(Position))
    ):
        trains[unit_id].append(row)
    meters = mine(Instrument.objects.filter(unit__isnull=False), "unit_id").order_by("pk")
    for unit_id, *row in meters.values_list("unit_id", *_columns(Instrument)):
        trains[unit_id].append(row)
    units = mine(Unit.objects.all(), "pk").order_by("pk")
    known_units = list(units.values_list("pk", "site_id", *_columns(Site, "site__"), *_columns(Unit)))
    sites = {row[1] for row in known_units}
    samples = FeedWaterSample.objects.of_company(company)
    water = _counted(samples if named is None else samples.filter(site_id__in=sites), "site_id")
    limits = marks_of_limits(limits_of_units(company, [row[0] for row in known_units]))
    # A meter that is carried from unit to unit may have read any of them.
    carried = Instrument.objects.of_company(company).filter(unit__isnull=True).order_by("pk")
    common = (release(), company.time_zone, list(carried.values_list(*_columns(Instrument))))
    return {
        unit_id: mark(
            (common, row, limits.get(unit_id), water.get(site_id), readings.get(unit_id), trains.get(unit_id))
        )
        for unit_id, site_id, *row in known_units
    }


def marks_of_limits(limits: Mapping[int, Limits[float]]) -> dict[int, str]:
    """Unit -> mark of its limits, of which there are a few in a company."""
    marks = {each: mark(each) for each in set(limits.values())}
    return {unit_id: marks[each] for unit_id, each in limits.items()}


def marks_of_items(company: Company) -> dict[int, str]:
    """Catalogue item -> mark of it."""
    rows = CatalogueItem.objects.of_company(company).order_by("pk")
    return {row[0]: mark(row) for row in rows.values_list(*_columns(CatalogueItem))}


def _counted(rows: Any, key: str) -> dict[int, tuple[Any, ...]]:
    """Rows that are never overwritten, by what tells one set of them from another."""
    holds = Q(voided_at__isnull=True)
    counted = (
        rows.order_by()
        .values(key)
        .annotate(
            held=Count("pk", filter=holds),
            newest=Max("pk"),
            corrections=Count("corrects"),
        )
    )
    return {row[0]: tuple(map(str, row[1:])) for row in counted.values_list(key, "held", "newest", "corrections")}


def release() -> str:
    """Mark of the code and the language that the answers of this package are made with."""
    return mark_of_code(Path(__file__).resolve().parents[1], _MAKES_ANSWERS)


@cache
def mark_of_code(package: Path, rooms: Sequence[str]) -> str:
    """Mark of the code in some rooms of a package, and of the language of its sentences."""
    files = sorted(path for room in rooms for path in (package / room).rglob("*.py"))
    catalogue = catalogue_of(settings.LANGUAGE_CODE, settings.LOCALE_DIR)
    files += [catalogue] if catalogue.exists() else []
    digest = blake2b(str(settings.LANGUAGE_CODE).encode(), digest_size=10)
    for path in files:
        digest.update(path.read_bytes())
    return digest.hexdigest()


@cache
def _columns(model: Any, path: str = "") -> tuple[str | Cast, ...]:
    """All columns of a model for `values_list`; what a mark need not understand is read as it is stored."""
    return tuple(
        Cast(f"{path}{field.attname}", TextField()) if isinstance(field, _STORED) else f"{path}{field.attname}"
        for field in model._meta.concrete_fields
    )
