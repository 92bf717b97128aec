"""The water that comes from the mains: colder in winter, other salt in other seasons, other water after works."""

import math
from dataclasses import dataclass, replace
from datetime import date
from random import Random

from tests.strangers.fault_histories.water import Water

NEVER = date(9999, 12, 31)


@dataclass(frozen=True)
class Supply:
    """One house's water."""

    mean_degc: float
    swing_degc: float
    tds: float
    tds_swing: float
    line_bar: float
    line_noise: float
    hardness: float
    ph: float
    chlorine: float
    carbon_dioxide: float
    """mg/L; it passes the membrane and loads the resin."""
    dirt: float
    """How quickly a sediment filter fills; 1 is usual."""
    phase: float
    works_on: date = NEVER
    works_tds: float = 1.0
    """Salt after the works over salt before."""

    def degc(self, day: date) -> float:
        """Coldest in the middle of February."""
        season = math.cos(2 * math.pi * (day.timetuple().tm_yday - 46) / 365.25)
        wander = 0.7 * math.sin(day.toordinal() / 9.0 + self.phase)
        return max(3.0, self.mean_degc - self.swing_degc * season + wander)

    def feed_tds(self, day: date) -> float:
        """More salt when the river is low, in early autumn."""
        season = math.cos(2 * math.pi * (day.timetuple().tm_yday - 260) / 365.25)
        wander = 0.02 * math.sin(day.toordinal() / 5.0 + 3 * self.phase)
        works = self.works_tds if day >= self.works_on else 1.0
        return self.tds * (1 + self.tds_swing * season + wander) * works

    def static_bar(self, day: date, rng: Random) -> float:
        """Pressure with the tap shut, at a moment of that day."""
        slow = 0.04 * math.sin(day.toordinal() / 40.0 + self.phase)
        return self.line_bar * (1 + slow + rng.gauss(0, self.line_noise))

    def dirt_on(self, day: date) -> float:
        """Three weeks of brown water follow the works."""
        return self.dirt * (4.0 if 0 <= (day - self.works_on).days < 21 else 1.0)

    def is_changed_on(self, day: date) -> bool:
        """Half a year after works that moved the salt by a tenth, up or down: some read twice in that time."""
        return abs(self.works_tds - 1) >= 0.1 and 0 <= (day - self.works_on).days < 182

    def as_record(self, seed: str) -> Water:
        """The same for the paper of the history."""
        return replace(
            Water(seed),
            mean_degc=self.mean_degc,
            swing_degc=self.swing_degc,
            tds=self.tds,
            tds_swing=self.tds_swing,
            later_tds=self.tds * self.works_tds,
            changes_on=self.works_on,
            line_bar=self.line_bar,
            hardness=self.hardness,
            alkalinity=0.75 * self.hardness,
            ph=self.ph,
            chlorine=self.chlorine,
        )


def draw_supply(rng: Random, *, has_pump: bool, hard: bool = False, soft: bool = False) -> Supply:
    """A house somewhere: soft from granite, middling from a river, or hard from chalk."""
    source = "hard" if hard else "soft" if soft else rng.choice(("soft", "middle", "middle", "hard"))
    tds = {"soft": rng.uniform(70, 140), "middle": rng.uniform(150, 300), "hard": rng.uniform(300, 480)}[source]
    share = {"soft": 0.4, "middle": 0.6, "hard": 0.72}[source]
    return Supply(
        mean_degc=rng.uniform(10.5, 14.0),
        swing_degc=rng.uniform(2.5, 6.5),
        tds=tds,
        tds_swing=rng.uniform(0.02, 0.10),
        line_bar=rng.uniform(2.4, 3.4) if has_pump else rng.uniform(3.5, 5.2),
        line_noise=rng.uniform(0.01, 0.04),
        hardness=share * tds * rng.uniform(0.9, 1.1),
        ph={"soft": 7.9, "middle": 7.7, "hard": 7.4}[source] + rng.uniform(-0.15, 0.15),
        chlorine=rng.uniform(0.15, 0.6),
        carbon_dioxide={"soft": 2.0, "middle": 5.0, "hard": 12.0}[source] * rng.uniform(0.7, 1.3),
        dirt=rng.uniform(0.5, 1.5),
        phase=rng.uniform(0, 6.28),
    )
