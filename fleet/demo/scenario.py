"""The invented company as its files tell it: `fixtures/demo/`, readable and editable by people."""

import csv
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fleet.engineering.stages import STAGES

READERS = ("meter", "weekly", "monthly", "visits")


class ScenarioError(ValueError):
    """A scenario file that cannot be used; the message names the file, the row and what would be right."""


@dataclass(frozen=True)
class Supply:
    """A water works or borehole: typical water, how far its TDS swings in a year, coldest and warmest month."""

    code: str
    name: str
    chloraminated: bool
    tds_mg_per_l: float
    hardness_mg_per_l_as_caco3: float
    alkalinity_mg_per_l_as_caco3: float
    ph: float
    free_chlorine_mg_per_l: float
    total_chlorine_mg_per_l: float
    silica_mg_per_l: float
    iron_mg_per_l: float
    manganese_mg_per_l: float
    turbidity_ntu: float
    tds_swing: float
    coldest_degc: float
    warmest_degc: float


@dataclass(frozen=True)
class SiteSpec:
    """A client's place."""

    code: str
    client: str
    name: str
    address: str
    latitude: float
    longitude: float
    supply: str
    access: str
    access_notes: str


@dataclass(frozen=True)
class Place:
    """One position of a train and the item that belongs in it."""

    order: int
    stage: str
    role: str
    item: str


@dataclass(frozen=True)
class UnitSpec:
    """One unit, who reads it, and which story (if any) is told with it."""

    code: str
    site: str
    use: str
    train: str
    places: tuple[Place, ...]
    weekly_demand_l: float
    tank: str
    tank_volume_l: float
    has_booster_pump: bool
    totaliser: str
    line_pressure_kpa: float
    commissioned_months_ago: int
    read_by: str
    story: str
    caution: str

    @property
    def kind(self) -> str:
        """'ro_di' when the train holds resin, else 'ro'."""
        return "ro_di" if any(place.stage == "resin" for place in self.places) else "ro"

    def place(self, stage: str, role: str) -> Place | None:
        """The position of a stage and role, if the train has one."""
        return next((place for place in self.places if place.stage == stage and place.role == role), None)


@dataclass(frozen=True)
class InstrumentSpec:
    """A meter or gauge: carried by an installer, or fitted to a unit."""

    name: str
    carried_by: str
    unit: str
    measures: tuple[str, ...]
    tds_factor: float
    compensates_temperature: bool
    accuracy_fraction: float
    resolution: float


@dataclass(frozen=True)
class InstallerSpec:
    """An installer's base, shift, van and habits of writing."""

    key: str
    email: str
    name: str
    van: str
    home_latitude: float
    home_longitude: float
    shift_starts: str
    shift_ends: str
    weekdays: tuple[int, ...]
    supplies: tuple[str, ...]
    writes: dict[str, str]


@dataclass(frozen=True)
class Scenario:
    """Everything the demo starts from; `items` and the lists below keep their file's columns as text."""

    company: dict[str, Any]
    stories: dict[str, dict[str, Any]]
    supplies: dict[str, Supply]
    sites: dict[str, SiteSpec]
    units: tuple[UnitSpec, ...]
    installers: tuple[InstallerSpec, ...]
    instruments: tuple[InstrumentSpec, ...]
    items: dict[str, dict[str, str]]
    suppliers: dict[str, dict[str, str]]
    parts_rules: tuple[dict[str, str], ...]
    stock: tuple[dict[str, str], ...]

    def supply_of(self, unit: UnitSpec) -> Supply:
        """The supply that feeds a unit."""
        return self.supplies[self.sites[unit.site].supply]

    def installer_of(self, unit: UnitSpec) -> InstallerSpec:
        """The installer who usually calls: of those for the supply, one by the site's number."""
        able = [person for person in self.installers if self.sites[unit.site].supply in person.supplies]
        return able[int("".join(filter(str.isdigit, unit.site))) % len(able)]


def read_scenario(folder: Path) -> Scenario:
    """Read the scenario's files.

    Raises
    ------
    ScenarioError
        Naming the file and what is missing or wrong in it.
    """
    trains = {name: _train(name, places) for name, places in _json(folder / "trains.json").items()}
    supplies = {row["code"]: _supply(row) for row in _rows(folder / "supplies.csv")}
    sites = {row["code"]: _site(row, supplies) for row in _rows(folder / "sites.csv")}
    company = _json(folder / "company.json", keep_about=True)
    items = {row["code"]: row for row in _rows(folder / "catalogue.csv")}
    suppliers = {row["code"]: row for row in _rows(folder / "suppliers.csv")}
    for code, item in items.items():
        if item["supplier"] not in suppliers:
            raise ScenarioError(f"catalogue.csv, {code}: supplier '{item['supplier']}' is not in suppliers.csv.")
    stories = _json(folder / "stories.json")
    units = tuple(_unit(row, sites, trains, stories) for row in _rows(folder / "units.csv"))
    for train in trains.values():
        for place in train:
            if place.item not in items:
                raise ScenarioError(f"trains.json: item '{place.item}' is not in catalogue.csv.")
    return Scenario(
        company=company,
        stories=stories,
        supplies=supplies,
        sites=sites,
        units=units,
        installers=tuple(
            InstallerSpec(**{**row, "weekdays": tuple(row["weekdays"]), "supplies": tuple(row["supplies"])})
            for row in company["installers"]
        ),
        instruments=(*_carried(folder), *_fitted(units)),
        items=items,
        suppliers=suppliers,
        parts_rules=tuple(_rows(folder / "parts_rules.csv")),
        stock=tuple(_rows(folder / "stock.csv")),
    )


def _json(path: Path, *, keep_about: bool = False) -> dict[str, Any]:
    try:
        content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise ScenarioError(f"{path.name} cannot be read: {error}.") from error
    if not keep_about:
        content.pop("about", None)
    return content


def _rows(path: Path) -> Iterator[dict[str, str]]:
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise ScenarioError(f"{path.name} cannot be read: {error}.") from error
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    for number, row in enumerate(csv.DictReader(lines), start=1):
        if None in row or None in row.values():
            raise ScenarioError(f"{path.name}, row {number}: it has not as many cells as the header.")
        yield row


def _train(name: str, places: list[str]) -> tuple[Place, ...]:
    out = []
    for order, text in enumerate(places, start=1):
        stage, role, item = text.split()
        if stage not in STAGES:
            raise ScenarioError(f"trains.json, {name}: '{stage}' is no stage; use {', '.join(STAGES)}.")
        out.append(Place(order, stage, role, item))
    return tuple(out)


def _supply(row: dict[str, str]) -> Supply:
    numbers = {key: float(value) for key, value in row.items() if key not in {"code", "name", "chloraminated"}}
    return Supply(code=row["code"], name=row["name"], chloraminated=row["chloraminated"] == "yes", **numbers)


def _site(row: dict[str, str], supplies: dict[str, Supply]) -> SiteSpec:
    if row["supply"] not in supplies:
        raise ScenarioError(f"sites.csv, {row['code']}: supply '{row['supply']}' is not in supplies.csv.")
    return SiteSpec(
        code=row["code"],
        client=row["client"],
        name=row["name"],
        address=row["address"],
        latitude=float(row["latitude"]),
        longitude=float(row["longitude"]),
        supply=row["supply"],
        access=row["access"],
        access_notes=row["access_notes"],
    )


def _unit(
    row: dict[str, str],
    sites: dict[str, SiteSpec],
    trains: dict[str, tuple[Place, ...]],
    stories: dict[str, dict[str, Any]],
) -> UnitSpec:
    for column, defined in (("site", sites), ("train", trains)):
        if row[column] not in defined:
            raise ScenarioError(f"units.csv, {row['code']}: {column} '{row[column]}' is not known.")
    if row["read_by"] not in READERS:
        raise ScenarioError(f"units.csv, {row['code']}: read_by is one of {', '.join(READERS)}.")
    if row["story"] and row["story"] not in stories:
        raise ScenarioError(f"units.csv, {row['code']}: story '{row['story']}' is not in stories.json.")
    return UnitSpec(
        code=row["code"],
        site=row["site"],
        use=row["use"],
        train=row["train"],
        places=trains[row["train"]],
        weekly_demand_l=float(row["weekly_demand_l"]),
        tank=row["tank"],
        tank_volume_l=float(row["tank_volume_l"]),
        has_booster_pump=row["booster_pump"] == "yes",
        totaliser=row["totaliser"],
        line_pressure_kpa=float(row["line_pressure_kpa"]),
        commissioned_months_ago=int(row["commissioned_months_ago"]),
        read_by=row["read_by"],
        story=row["story"],
        caution=row["caution"],
    )


_LOGGED = (
    "feed_tds_mg_per_l", "permeate_tds_mg_per_l", "interstage_tds_mg_per_l", "product_tds_mg_per_l",
    "inlet_pressure_kpa", "temperature_degc", "totaliser_l",
)  # fmt: skip


def _carried(folder: Path) -> Iterator[InstrumentSpec]:
    for row in _rows(folder / "instruments.csv"):
        yield InstrumentSpec(
            name=row["name"],
            carried_by=row["carried_by"],
            unit=row["unit"],
            measures=tuple(f"{name}_mg_per_l" for name in row["measures"].split()),
            tds_factor=float(row["tds_factor"]),
            compensates_temperature=row["compensates_temperature"] == "yes",
            accuracy_fraction=float(row["accuracy_fraction"]),
            resolution=float(row["resolution"]),
        )


def _fitted(units: tuple[UnitSpec, ...]) -> Iterator[InstrumentSpec]:
    """The logging meter of every unit that has one."""
    for unit in units:
        if unit.read_by == "meter":
            yield InstrumentSpec(
                name=f"Logger {unit.code}",
                carried_by="",
                unit=unit.code,
                measures=_LOGGED,
                tds_factor=0.5,
                compensates_temperature=True,
                accuracy_fraction=0.02,
                resolution=0.5,
            )
