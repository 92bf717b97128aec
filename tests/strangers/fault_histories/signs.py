"""When a good technician can know: the log beside that of the same unit without the fault."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from tests.strangers.fault_histories.life import Looked


@dataclass(frozen=True)
class Sign:
    """A value that differs enough from what the sound unit would have shown that day."""

    column: str
    """A column of the log, 'passage' or 'waste ratio'."""
    over: float = 0.0
    """Times what the sound unit shows, or more; 0 for not asked."""
    under: float = 0.0
    """Times what it shows, or less."""
    above: float = 0.0
    """More than the sound unit shows, by so many bar, mg/L or L/day."""
    below: float = 0.0
    state: str = "flowing"

    def shows(self, with_fault: Looked, sound: Looked) -> bool:
        if with_fault.state != self.state:
            return False
        found, expected = self._value(with_fault), self._value(sound)
        if found is None or expected is None:
            return False
        return bool(
            (self.over and found >= self.over * expected > 0)
            or (self.under and found <= self.under * expected)
            or (self.above and found >= expected + self.above)
            or (self.below and found <= expected - self.below)
        )

    def _value(self, look: Looked) -> float | None:
        top, bottom = {
            "passage": ("permeate TDS", "feed TDS"),
            "waste ratio": ("concentrate flow", "permeate flow"),
        }.get(self.column, (self.column, ""))
        value = look.values.get(top)
        if bottom and value is not None:
            divisor = look.values.get(bottom)
            value = value / divisor if divisor else None
        return value


def first_day_to_know(
    signs: Sequence[Sign], times: int, with_fault: Sequence[Looked], sound: Sequence[Looked], since: date
) -> date | None:
    """The day of the `times`-th reading, from `since` on, that shows any of the signs; two of a day count once."""
    others = {(look.at.date(), look.state, look.occasion): look for look in sound}
    latest = sorted(sound, key=lambda look: look.at)
    days: list[date] = []
    for look in sorted(with_fault, key=lambda look: look.at):
        if look.at.date() < since:
            continue
        other = others.get((look.at.date(), look.state, look.occasion))
        if other is None:
            # The sound unit was not read that day: its last reading of the kind has to do.
            other = next((o for o in reversed(latest) if o.at <= look.at and o.state == look.state), None)
        if other is not None and any(sign.shows(look, other) for sign in signs) and look.at.date() not in days:
            days.append(look.at.date())
            if len(days) == times:
                return look.at.date()
    return None
