"""Cartridges, membranes and the units built of them; all invented. Labels are as a catalogue states them."""

from dataclasses import dataclass, field, replace
from typing import Final

from tests.strangers.fault_histories.membrane import Label


@dataclass(frozen=True)
class Item:
    """A thing of the catalogue."""

    code: str
    stage: str
    label: dict[str, str | float] = field(hash=False, compare=False)
    """By the name of the quantity, with its unit."""


def _membrane(gallons: int, *, rejection: float = 0.96) -> Item:
    return Item(
        f"M{gallons}",
        "membrane",
        {
            "membrane_material": "polyamide",
            "rejection_fraction": rejection,
            "rated_recovery_fraction": 0.15,
            "rated_flow": f"{gallons} gpd",
            "rated_pressure": "50 psi",
            "rated_temperature": "25 degC",
            "rated_tds": "250 mg/L",
        },
    )


GALLON: Final = 3.785411784
ITEMS: Final = {
    item.code: item
    for item in (
        Item("S5", "sediment", {"micron_rating": "5 um", "rated_volume": "25000 L"}),
        Item(
            "CB",
            "carbon",
            {"carbon_kind": "block", "carbon_volume": "0.6 L", "chlorine_capacity": "25 g", "rated_volume": "20000 L"},
        ),
        Item(
            "CC",
            "carbon",
            {
                "carbon_kind": "catalytic",
                "carbon_volume": "1.2 L",
                "chlorine_capacity": "60 g",
                "rated_volume": "60000 L",
            },
        ),
        *(_membrane(gallons) for gallons in (50, 75, 100, 150)),
        Item("R6", "resin", {"resin_volume": "0.6 L", "resin_capacity": "0.55 eq/L"}),
        Item("R12", "resin", {"resin_volume": "1.2 L", "resin_capacity": "0.55 eq/L"}),
        Item("R30", "resin", {"resin_volume": "3 L", "resin_capacity": "0.55 eq/L"}),
    )
}
RATED_GALLONS: Final = {"M50": 50, "M75": 75, "M100": 100, "M150": 150}
RESIN_LITRES: Final = {"R6": 0.6, "R12": 1.2, "R30": 3.0}
CARBON_GRAMS: Final = {"CB": 25.0, "CC": 60.0}


def label_of(code: str) -> Label:
    """The membrane's label as numbers."""
    return Label(flow=RATED_GALLONS[code] * GALLON)


@dataclass(frozen=True)
class Place:
    """A position of the train and what is put there first."""

    stage: str
    item: str
    role: str = "single"


@dataclass(frozen=True)
class Layout:
    """A unit as its papers describe it."""

    use: str
    kind: str
    target_tds: float
    weekly_litres: float
    train: tuple[Place, ...]
    tank: str = "none"
    tank_litres: float = 0.0
    precharge_bar: float = 0.0
    booster: bool = False
    float_valve: bool = False
    shut_off: bool = False
    check_valve: bool = False
    capillary: bool = True
    ratio: float = 3.5
    """Concentrate over permeate that it is set up for, at 15 degC."""
    totaliser: str = "none"

    def item(self, stage: str, role: str = "single") -> str:
        return next(place.item for place in self.train if (place.stage, place.role) == (stage, role))

    @property
    def resins(self) -> tuple[str, ...]:
        return tuple(place.item for place in self.train if place.stage == "resin")

    def with_membrane(self, code: str) -> "Layout":
        train = tuple(replace(place, item=code) if place.stage == "membrane" else place for place in self.train)
        return replace(self, train=train)


_FRONT = (Place("sediment", "S5"), Place("carbon", "CB"))
LAYOUTS: Final = {
    "reef": Layout(
        "reef", "ro_di", 2.0, 110.0,
        (*_FRONT, Place("membrane", "M75"), Place("resin", "R12", "lead"), Place("resin", "R12", "lag")),
        tank="open", float_valve=True, shut_off=True, check_valve=True, totaliser="permeate",
    ),
    "small reef": Layout(
        "reef", "ro_di", 4.0, 70.0, (*_FRONT, Place("membrane", "M100"), Place("resin", "R12")),
        tank="open", float_valve=True, shut_off=True, check_valve=True,
    ),
    "planted": Layout("planted", "ro", 30.0, 90.0, (*_FRONT, Place("membrane", "M75")), capillary=False),
    "tap": Layout(
        "drinking", "ro", 50.0, 60.0,
        (
            Place("sediment", "S5"), Place("carbon", "CB", "lead"), Place("carbon", "CB", "lag"),
            Place("membrane", "M50"),
        ),
        tank="pressurised", tank_litres=12.0, precharge_bar=0.5, shut_off=True, check_valve=True,
    ),
    "coffee": Layout(
        "coffee", "ro", 50.0, 420.0, (Place("sediment", "S5"), Place("carbon", "CC"), Place("membrane", "M150")),
        tank="pressurised", tank_litres=40.0, precharge_bar=0.5, booster=True, shut_off=True, check_valve=True,
        ratio=2.5, totaliser="feed",
    ),
    "laboratory": Layout(
        "laboratory", "ro_di", 1.0, 180.0,
        (*_FRONT, Place("membrane", "M100"), Place("resin", "R30", "lead"), Place("resin", "R30", "lag")),
        tank="open", booster=True, float_valve=True, shut_off=True, check_valve=True, ratio=3.0, totaliser="permeate",
    ),
}  # fmt: skip
