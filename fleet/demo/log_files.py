"""A log as a file: rows of text by column header, written the way its keeper writes."""

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from fleet.demo.writing import Hand, spoken

READINGS, FEED_WATER = "readings", "feed_water"

# In the order of the columns. Nobody of the invented company tests for free chlorine or the pH of the product.
QUANTITIES = (
    "line_pressure_kpa", "prefilter_outlet_pressure_kpa", "inlet_pressure_kpa", "tank_pressure_kpa", "temperature_degc",
    "feed_tds_mg_per_l", "permeate_tds_at_start_mg_per_l", "permeate_tds_mg_per_l", "interstage_tds_mg_per_l",
    "product_tds_mg_per_l", "concentrate_tds_mg_per_l", "permeate_flow_l_per_day", "concentrate_flow_l_per_day",
    "feed_total_chlorine_mg_per_l", "interstage_chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l",
    "feed_ph", "totaliser_l",
)  # fmt: skip
_WORDS = (
    "unit", "site", "taken at", "reference", "person", "instrument", "measured by", "method", "source", "occasion",
    "state", "minutes since start", "tank valve", "pump", "tank is full", "sampled after flush",
)  # fmt: skip


@dataclass
class LogRow:
    """One line of a log: text by column header, when it was taken, and what is wrong with it on purpose."""

    cells: dict[str, str]
    at: datetime
    mistake: str = ""


@dataclass
class LogFile:
    """One log, kept by one hand."""

    name: str
    kind: str
    source: str
    hand: Hand
    rows: list[LogRow] = field(default_factory=list)

    def text(self) -> str:
        """The file as it is saved."""
        headers = list(dict.fromkeys(name for row in self.rows for name in row.cells))
        out = io.StringIO()
        writer = csv.DictWriter(out, _in_order(headers), restval="", delimiter=self.hand.separator, lineterminator="\n")
        writer.writeheader()
        writer.writerows(row.cells for row in self.rows)
        return out.getvalue()

    def planted(self) -> list["Planted"]:
        """The mistakes made on purpose, with the line of the file each stands on (the header being 1)."""
        return [Planted(self.name, line, row.mistake) for line, row in enumerate(self.rows, start=2) if row.mistake]


@dataclass(frozen=True)
class Planted:
    """A mistake made on purpose: file, line and kind (see `mistakes.KINDS`)."""

    file: str
    line: int
    kind: str


def _in_order(headers: Iterable[str]) -> list[str]:
    """Words first, then quantities in train order, the note last."""
    order = {name: number for number, name in enumerate(_WORDS)}
    quantities = {spoken(name): number for number, name in enumerate(QUANTITIES, start=50)}
    place = {name: order.get(name, quantities.get(name.split(" [")[0], 90)) for name in headers}
    return sorted(headers, key=lambda name: 100 if name == "note" else place[name])
