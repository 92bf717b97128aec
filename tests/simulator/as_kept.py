"""Service as it is done and written down in offices: only gauges and meters are seen, and the books tell part of it.

Who visits replaces what is due by the calendar, what the readings of the day show, and after a complaint what he
suspects. He never knows the state of a cartridge itself. The books hold a reason in less than half of the removals,
some of them wrong; visits and quantities are missing, dates come days late, counters are replaced. All of it invented:
common practice, no source.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from tests.simulator.fleet import Service
from tests.simulator.plant import MEM, PSI, SLOT_STAGE, Day, Plant, arrhenius
from tests.simulator.settings import World
from tests.simulator.water import Paths

CARBON_DROP_KPA: Final = 1.7 * PSI
"""What an installer takes off a reading of both gauges for the carbon between them."""

LOST_FLOW: Final = 0.8
"""Share of a membrane's first flow below which an installer replaces it."""

TWICE: Final = 2.0
"""Growth of a membrane's salt passage that makes an installer replace it, when the limit is passed too."""

STREAMS: Final = (0, 2, MEM, 5)
"""The first slot of each stage."""


class ServiceAsKept(Service):
    """The simulated service with the sight and the books of an office."""

    def __init__(self, world: World, plant: Plant, paths: Paths, rng: np.random.Generator, recorded: int) -> None:
        super().__init__(world, plant, paths, rng, recorded)
        n = world.units
        self.seen: dict[int, dict[str, float]] = {}
        self.at_start = np.full((n, 2), np.nan)  # salt passage and flow first seen of the membrane
        self.was_slow = np.zeros(n, dtype=bool)
        self.corrects_temperature = rng.random(n) < 0.4
        self.new_counter_day = np.where(
            rng.random(n) < world.new_counter_share, rng.integers(60, max(recorded, 61), n), -1
        )
        self.last_written = np.full(n, -1)
        self.late_by: dict[tuple[int, int], int] = {}
        self.has_habit: dict[tuple[str, str], np.ndarray] = {}

    # -- what is seen

    def after_day(self, day: int, actual: Day) -> None:
        """A new counter starts from nothing; then the day as ever."""
        self.counter[self.new_counter_day == day] = 0.0
        super().after_day(day, actual)

    def _read(self, units: np.ndarray, day: int, actual: Day, occasion: str, source: str, later: float = 0.0) -> None:
        rng, world, count = self.rng, self.world, len(self.readings)
        super()._read(units, day, actual, occasion, source, later)
        row = self.readings[count]
        tank = self.plant.back_kpa[units]
        shown = np.round(tank * np.exp(0.1 * rng.normal(size=len(units))) / PSI) * PSI
        row["tank_pressure_kpa"] = np.where((tank > 0) & (rng.random(len(units)) < 0.4), shown, np.nan)
        if occasion == "as_found":
            self.seen = {
                int(unit): {name: values[at] for name, values in row.items() if name.endswith(("_l_per_day", "_kpa"))}
                | {name: values[at] for name, values in row.items() if name.endswith(("_mg_per_l", "_degc"))}
                for at, unit in enumerate(units)
            }
        self._write_part(row, units, source)
        missing = world.unwritten_visit_share if source == "installer" else 0.1
        written = rng.random(len(units)) >= missing
        slips = np.where(rng.random(len(units)) < 0.05, rng.integers(1, 4, len(units)), 0)
        row["day"] = row["day"] + np.where(source == "meter", 0, slips)
        self.readings[count] = {name: values[written] for name, values in row.items()}

    def _write_part(self, row: dict[str, np.ndarray], units: np.ndarray, source: str) -> None:
        """Leave out what this unit's people do not write as a rule, and some of the rest."""
        n = self.world.units
        for name, values in row.items():
            if values.dtype.kind != "f" or name in ("day", "minutes_since_start"):
                continue
            # Who writes one gauge writes the other.
            key = (source, "gauges" if name in _GAUGES else name)
            if key not in self.has_habit:
                usual = {"installer": 0.75, "client": 0.5, "meter": 1.0}[source]
                self.has_habit[key] = self.rng.random(n) < usual
            kept = self.has_habit[key][units] & (self.rng.random(len(units)) > self.world.left_blank_share)
            row[name] = np.where(kept, values, np.nan)

    # -- what is done

    def _visit(self, unit: int, day: int) -> bool:
        seen = self.seen.get(unit, {})
        shown = {first: self._shown(unit, first, seen, day) for first in STREAMS}
        complains = self.complaint[unit] <= day
        if complains and not any(any(flags) for flags in shown.values()) and self.rng.random() < 0.6:
            # Somebody complained, nothing shows: the last stage goes on suspicion.
            last = 5 if self.plant.has[unit, 5] else 2
            shown[last] = [True] * len(shown[last])
        changed = False
        for first in STREAMS:
            slots = self._slots(unit, first)
            if not slots:
                continue
            due = self._is_due(unit, slots[0], day)
            changed |= self._change(unit, slots, shown[first], day, due=due)
        return changed

    def _slots(self, unit: int, first: int) -> list[int]:
        return [slot for slot in ((MEM,) if first == MEM else (first, first + 1)) if self.plant.has[unit, slot]]

    def _change(self, unit: int, slots: Sequence[int], shown: Sequence[bool], day: int, *, due: bool) -> bool:
        """Replace one or both of a stage, or move the second up."""
        out = [slot for slot, is_shown in zip(slots, shown, strict=True) if is_shown]
        if len(slots) == 2 and slots[0] != 0 and (due or out) and slots[1] not in out and self.rng.random() < 0.6:
            self._move_up(unit, slots[0], day, is_shown=bool(out))
            return True
        for slot in slots:
            if slot in out or due:
                self._remove(unit, slot, day, self._word(is_visible=slot in out))
                self._place(unit, slot, day)
        return bool(out) or due

    def _move_up(self, unit: int, lead: int, day: int, *, is_shown: bool) -> None:
        self._remove(unit, lead, day, self._word(is_visible=is_shown))
        is_told = self.rng.random() < 0.6
        moved = self._remove(unit, lead + 1, day, "rotated" if is_told else self._word())
        for name in ("capacity", "used", "first"):
            values = getattr(self.state, name)
            values[unit, lead] = values[unit, lead + 1]
        self._place(unit, lead, day, continued=moved)
        if not is_told:
            self.placements[-1]["continued_from"] = None
            self.placements[-1]["first_installed_day"] = None
        self._place(unit, lead + 1, day)

    def _shown(self, unit: int, first: int, seen: dict[str, float], day: int) -> list[bool]:
        """Which cartridges of a stage the readings of this visit make somebody replace."""
        slots = self._slots(unit, first)
        if self.rng.random() < self.world.miss_share:
            return [False] * len(slots)
        value = {name: seen.get(name, np.nan) for name in _QUANTITIES_READ}
        two = len(slots) == 2
        if first == 0:
            drop = value["line_pressure_kpa"] - value["prefilter_outlet_pressure_kpa"] - CARBON_DROP_KPA
            is_high = bool(drop > self.plant.sediment_limit[unit] * (2.0 if two else 1.0))
            # One pair of gauges over both: usually the first goes, at times both.
            return [is_high, is_high and self.rng.random() < 0.4] if two else [is_high]
        if first == 2:
            through = bool(value["carbon_outlet_total_chlorine_mg_per_l"] > 0.1)
            lead = bool(value["interstage_chlorine_mg_per_l"] >= 0.5 * value["feed_total_chlorine_mg_per_l"])
            return [through or lead, through] if two else [through]
        if first == MEM:
            return [self._membrane_shows(unit, value, day)]
        through = bool(value["product_tds_mg_per_l"] > 1.0 + 0.5 * self.chosen_meter[unit])
        lead = bool(value["interstage_tds_mg_per_l"] >= 0.95 * value["permeate_tds_mg_per_l"])
        return ([through or lead, through] if two else [through]) if slots else []

    def _membrane_shows(self, unit: int, value: dict[str, float], day: int) -> bool:
        """Salt passage past the unit's limit and twice that of the start, or at two visits in a row too little flow."""
        if day - self.state.placed[unit, MEM] < 60:
            return False
        passage = value["permeate_tds_mg_per_l"] / max(value["feed_tds_mg_per_l"], 1.0)
        flow = value["permeate_flow_l_per_day"]
        if self.corrects_temperature[unit]:
            flow = flow / float(arrhenius(np.array(2700.0), np.array(value["temperature_degc"])))
        first_passage, first_flow = self.at_start[unit]
        is_salty = bool(passage > 1.0 - self.plant.minimum_rejection[unit] and passage > TWICE * first_passage)
        is_slow = bool(flow < LOST_FLOW * first_flow)
        was_slow, self.was_slow[unit] = self.was_slow[unit], is_slow
        now = np.array([passage, flow])
        self.at_start[unit] = np.where(np.isnan(self.at_start[unit]), now, self.at_start[unit])
        return is_salty or (is_slow and bool(was_slow))

    # -- what is written

    def _word(self, *, is_visible: bool = False) -> str | None:
        """The reason in the books: seldom what was seen."""
        draw = self.rng.random()
        if draw < self.world.unwritten_share:
            return None
        if is_visible:
            return "exhausted" if self.rng.random() < 0.7 else "routine"
        if self.rng.random() < self.world.habitual_word_share:
            return "exhausted"
        return "routine" if self.rng.random() < 0.93 else "early"

    def _written_day(self, unit: int, day: int) -> int:
        """The day in the books: what is entered at one visit has one date, never before that of the visit before."""
        if (unit, day) not in self.late_by:
            late = int(self.rng.integers(1, 11)) if self.rng.random() < self.world.late_entry_share else 0
            self.late_by[unit, day] = max(day + late, int(self.last_written[unit]) + 1)
            self.last_written[unit] = self.late_by[unit, day]
        return self.late_by[unit, day]

    def _place(self, unit: int, slot: int, day: int, continued: int | None = None) -> None:
        super()._place(unit, slot, day, continued)
        row = self.placements[-1]
        row["placed_day"] = self.world.start_day + self._written_day(unit, day) + 0.5
        before = self.placements[continued] if continued is not None else None
        row["first_installed_day"] = None if before is None else before["first_installed_day"] or before["placed_day"]
        if SLOT_STAGE[slot] == SLOT_STAGE[MEM]:
            self.at_start[unit], self.was_slow[unit] = np.nan, False

    def _remove(self, unit: int, slot: int, day: int, reason: str | None) -> int:
        serial = super()._remove(unit, slot, day, reason)
        self.placements[serial]["removed_day"] = self.world.start_day + self._written_day(unit, day) + 0.5
        return serial


_GAUGES: Final = ("line_pressure_kpa", "prefilter_outlet_pressure_kpa", "inlet_pressure_kpa")
_QUANTITIES_READ: Final = (
    "line_pressure_kpa", "prefilter_outlet_pressure_kpa", "feed_tds_mg_per_l", "permeate_tds_mg_per_l",
    "interstage_tds_mg_per_l", "product_tds_mg_per_l", "permeate_flow_l_per_day", "temperature_degc",
    "feed_total_chlorine_mg_per_l", "interstage_chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l",
)  # fmt: skip
