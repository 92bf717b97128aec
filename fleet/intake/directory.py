"""What intake must know of a company before it can place a row: its units, sites and instruments, read once."""

import difflib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db.models import Q

from accounts.models import Company, Membership
from accounts.tenancy import TenantQuerySet
from fleet.intake.cells import CellError, find_zone
from fleet.intake.names import READING_COLUMNS
from fleet.models import Instrument, Site, Unit

_zone = lru_cache(maxsize=256)(find_zone)
_AT_ONCE: Final = 5000
_FEW_UNITS: Final = 50


@dataclass(frozen=True)
class Meter:
    """An instrument as intake sees it."""

    pk: int
    name: str
    unit_id: int | None
    measures: frozenset[str]
    tds_factor: float
    compensates_temperature: bool


@dataclass(frozen=True)
class Place:
    """A unit, or a site, as intake sees it; `meters` are those fitted to the unit."""

    pk: int
    code: str
    zone: ZoneInfo
    commissioned_on: date | None = None
    retired_on: date | None = None
    has_booster_pump: bool = False
    meters: tuple[Meter, ...] = ()


@dataclass
class Directory:
    """Places by code and id, and the company's instruments by name; ask with `place` and `meter`."""

    owner_kind: str
    by_code: dict[str, Place] = field(default_factory=dict)
    by_id: dict[int, Place] = field(default_factory=dict)
    folded: dict[str, list[Place]] = field(default_factory=dict)
    meters: dict[str, Meter] = field(default_factory=dict)
    _not_found: dict[tuple[str, str], str] = field(default_factory=dict)

    def place(self, name: str) -> Place:
        """Find a unit or site by its code, whatever its case, or by `#id`.

        Raises
        ------
        CellError
            When the company has none of that name, or it is ambiguous.
        """
        if name.startswith("#") and name[1:].isdecimal() and name not in self.by_code:
            named = self.by_id.get(int(name[1:20]))
            if named is None:
                raise CellError(f"There is no {self.owner_kind} with the id {name[1:20]}.")
            return named
        if name in self.by_code:
            return self.by_code[name]
        matches = self.folded.get(_fold(name), [])
        if len(matches) == 1:
            return matches[0]
        if matches:
            codes = " and ".join(f"'{place.code}'" for place in matches)
            raise CellError(f"'{name}' may be {codes}; write the code exactly.")
        sentence = f"There is no {self.owner_kind} with the code '{name[:40]}'."
        raise CellError(self._with_hint(sentence, name, self.folded, lambda near: self.folded[near][0].code))

    def meter(self, name: str) -> Meter:
        """Find an instrument by name.

        Raises
        ------
        CellError
            When the company has none of that name.
        """
        meter = self.meters.get(_fold(name))
        if meter is None:
            sentence = f"There is no instrument called '{name[:40]}'."
            raise CellError(self._with_hint(sentence, name, self.meters, lambda near: self.meters[near].name))
        return meter

    def _with_hint(self, sentence: str, name: str, names: Iterable[str], shown: Callable[[str], str]) -> str:
        """The sentence, and what may have been meant; looked for once, since what is wrong in one row is in many."""
        key = (sentence, name)
        if key not in self._not_found:
            close = difflib.get_close_matches(_fold(name), list(names), n=1, cutoff=0.7)
            self._not_found[key] = f"{sentence} Did you mean '{shown(close[0])}'?" if close else sentence
        return self._not_found[key]


def unit_directory(
    company: Company, by: Membership | None, names: Iterable[str], instruments: Iterable[str] = ()
) -> Directory:
    """Read the units that a payload names, those this member may see, and the instruments that bear on them.

    Parameters
    ----------
    names
        Codes, or `#id`, as they stand in the rows.
    instruments
        Names of instruments, as they stand in the rows.
    """
    directory = Directory("unit")
    fields = ("pk", "code", "site__time_zone", "commissioned_on", "retired_on", "has_booster_pump")
    units = _named(_visible(Unit.objects, company, by), names, fields)
    # Whoever sees a unit alone names what is fitted there: names of others are not tried out.
    meters = _visible(Instrument.objects, company, by)
    if len(units) <= _FEW_UNITS:
        # A meter that posts one reading must not make us read the instruments of a whole fleet.
        own = Q(unit_id__in=[unit[0] for unit in units]) | Q(unit__isnull=True) | Q(name__in=set(instruments))
        meters = meters.filter(own)
    fitted: dict[int, list[Meter]] = {}
    columns = ("pk", "name", "unit_id", "measures", "tds_factor", "compensates_temperature")
    for pk, name, unit_id, measures, factor, compensates in meters.order_by("pk").values_list(*columns):
        meter = Meter(pk, name, unit_id, _columns(measures), factor, compensates)
        directory.meters[_fold(name)] = meter
        if unit_id is not None:
            fitted.setdefault(unit_id, []).append(meter)
    for pk, code, zone, commissioned, retired, pump in units:
        _add(directory, Place(pk, code, _zone(zone), commissioned, retired, pump, tuple(fitted.get(pk, ()))))
    return directory


def site_directory(company: Company, by: Membership | None, names: Iterable[str]) -> Directory:
    """Read the sites that a payload names, those this member may see."""
    directory = Directory("site")
    for pk, code, zone in _named(_visible(Site.objects, company, by), names, ("pk", "code", "time_zone")):
        _add(directory, Place(pk, code, _zone(zone)))
    return directory


def _visible(manager: Any, company: Company, by: Membership | None) -> TenantQuerySet:
    rows: TenantQuerySet = manager.of_company(company)
    return rows if by is None else rows.visible_to(by)


def _named(rows: TenantQuerySet, references: Iterable[str], fields: tuple[str, ...]) -> list[tuple[Any, ...]]:
    """The rows that are named; all of them when a name has no exact match, to find what may have been meant."""
    names = set(references)
    ids = {int(name[1:]) for name in names if name.startswith("#") and name[1:].isdecimal() and len(name) < 20}
    codes = {name for name in names if not name.startswith("#")}
    if len(names) <= _AT_ONCE:
        matches = list(rows.filter(Q(pk__in=ids) | Q(code__in=codes)).values_list(*fields))
        if codes <= {row[1] for row in matches}:
            return matches
    return list(rows.values_list(*fields))


def _add(directory: Directory, place: Place) -> None:
    directory.by_code[place.code] = place
    directory.by_id[place.pk] = place
    directory.folded.setdefault(_fold(place.code), []).append(place)


def _columns(measures: Any) -> frozenset[str]:
    """Stored columns of what an instrument measures, which may be noted with or without the unit in the name."""
    return frozenset(READING_COLUMNS.get(str(name), str(name)) for name in measures or ())


def _fold(text: str) -> str:
    return " ".join(text.split()).casefold()
