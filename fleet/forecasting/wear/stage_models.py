"""How sediment filters, carbon and resin wear under load, and what a reading says about it.

A model knows three things, for arrays with the last two axes (shapes, grid of g): what is left of a cartridge after a
throughput, how much throughput is left until it counts as exhausted, and how likely a reading is. Throughput is in
capacities of one cartridge, so the unknown capacity enters only through it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np
from scipy.special import expit, ndtr

from fleet.forecasting.inputs.tables import Floats
from fleet.forecasting.wear import beds
from fleet.forecasting.wear.pooling import HyperPrior

STUDENT_FREEDOM: Final = 4.0

SHARED_STEPS: Final = 1.0
"""A meter's zero may be off by about one of its steps, the same in all its readings. Common practice, no source."""

SLIP_SHARE: Final = 0.01
"""Share of readings that passed the screen and are wrong all the same: they may lie anywhere."""


def student(off: Floats, square: Floats, reach: Floats) -> Floats:
    """Log-density of Student's t with 4 degrees of freedom, up to a constant, but no less than that of a slip.

    Parameters
    ----------
    off, square
        Residual, and the square of its spread.
    reach
        Range over which a slip may lie, in the unit of the residual.
    """
    density = -0.5 * (STUDENT_FREEDOM + 1.0) * np.log1p(off**2 / (STUDENT_FREEDOM * square)) - 0.5 * np.log(square)
    return np.maximum(density, np.log(SLIP_SHARE / reach))


@dataclass(frozen=True)
class StageReadings:
    """Readings that bear on one stage, one row each; what the two values and the two references mean is the model's.

    For beds: outlet of the first bed and of the last one, concentration entering, resolution of the meter. For
    sediment: differential pressure at reference conditions (as `between`), clean differential and limit (as `entering`
    and `resolution`).
    """

    between: Floats
    after: Floats
    entering: Floats
    resolution: Floats

    def take(self, rows: np.ndarray) -> "StageReadings":
        """Only these rows."""
        return StageReadings(self.between[rows], self.after[rows], self.entering[rows], self.resolution[rows])


class StageModel(Protocol):
    """What the forecast needs to know of a stage (see the module's text)."""

    @property
    def prior(self) -> HyperPrior:
        """Weak priors of the fleet's parameters."""
        ...

    @property
    def shapes(self) -> int:
        """Number of curve shapes."""
        ...

    def repeated(self, times: int) -> "StageModel":
        """The same model with every shape so many times over."""
        ...

    def remaining_after(self, remaining: Floats, throughput: Floats) -> Floats:
        """What is left after a throughput; arrays (rows, shapes, grid)."""
        ...

    def until_exhausted(self, remaining: Floats, limit: Floats) -> Floats:
        """Throughput until exhaustion, negative when past it; `limit` per row."""
        ...

    def state(self, remaining: Floats) -> Floats:
        """What is left, in the form in which `log_likelihood` takes it: worked out once for all readings of a
        segment."""
        ...

    def shared_error(self, readings: StageReadings) -> tuple[Floats, Floats]:
        """Square of the error that readings of one meter share over that of each alone, and the level at which each was
        read: those of one level share it. One a reading."""
        ...

    def probability_past(self, readings: StageReadings, limit: Floats) -> Floats:
        """Probability that each reading was taken past the limit of a single or last cartridge; NaN where it does not
        say."""
        ...

    def log_likelihood(self, lead: Floats, both: Floats, throughput: Floats, readings: StageReadings) -> Floats:
        """Log-likelihood of readings, one row each, after a throughput from given states; (rows, shapes, grid)."""
        ...


@dataclass(frozen=True)
class BedModel:
    """Carbon or resin: a bed with N transfer units, one value of N per shape.

    `relative_noise`, `floor` describe the meters (share of the value; smallest spread, mg/L).
    """

    transfer_units: Floats
    relative_noise: float
    floor: float
    prior: HyperPrior

    @property
    def shapes(self) -> int:
        """Number of curve shapes."""
        return len(self.transfer_units)

    def repeated(self, times: int) -> "BedModel":
        """The same model with every shape so many times over."""
        return replace(self, transfer_units=np.tile(self.transfer_units, times))

    def remaining_after(self, remaining: Floats, throughput: Floats) -> Floats:
        """See `beds.remaining_after`."""
        return beds.remaining_after(remaining, throughput, self.transfer_units[:, None].astype(remaining.dtype))

    def until_exhausted(self, remaining: Floats, limit: Floats) -> Floats:
        """Until the outlet is at `limit`, a share of what enters."""
        share = _column(limit, remaining)
        n = self.transfer_units[:, None].astype(remaining.dtype)
        return beds.throughput_until(remaining, beds.remaining_at_fraction(share, n), n)

    def state(self, remaining: Floats) -> Floats:
        """Logarithm of exp(N R) - 1, which falls by N for every capacity that passes."""
        return beds.log_expm1(self.transfer_units[:, None].astype(remaining.dtype) * remaining)

    def shared_error(self, readings: StageReadings) -> tuple[Floats, Floats]:
        """What lies within a step or two of the meter's zero cannot be averaged away; a rise above it is seen."""
        middle = (self.relative_noise * 0.5 * readings.entering) ** 2
        alone = (0.4 * readings.resolution) ** 2 + middle + self.floor**2
        highest = np.fmax(readings.between, readings.after)
        return (SHARED_STEPS * readings.resolution) ** 2 / alone, np.floor(0.5 * highest / readings.resolution)

    def probability_past(self, readings: StageReadings, limit: Floats) -> Floats:
        """By what the last outlet showed, and the meter's step and noise."""
        allowed = limit * readings.entering
        spread = np.sqrt((0.4 * readings.resolution) ** 2 + (self.relative_noise * allowed) ** 2 + self.floor**2)
        return np.asarray(ndtr((readings.after - allowed) / spread))

    def log_likelihood(self, lead: Floats, both: Floats, throughput: Floats, readings: StageReadings) -> Floats:
        """Outlet readings against the column's curve; the meter's step and its noise, heavy tails.

        The water stands at c = exp(-N R) = 1 / (1 + exp(state - N throughput)).
        """
        passed = self.transfer_units[:, None].astype(throughput.dtype) * throughput
        out = np.zeros(np.broadcast_shapes(lead.shape, passed.shape), dtype=throughput.dtype)
        for value, state in ((readings.between, lead), (readings.after, both)):
            rows = np.flatnonzero(np.isfinite(value))
            if not len(rows):
                continue
            fraction = expit(passed[rows] - state[rows])
            read, entering = _column(value[rows], throughput), _column(readings.entering[rows], throughput)
            expected = entering * fraction
            least = _column((0.4**2 + SHARED_STEPS**2) * readings.resolution[rows] ** 2 + self.floor**2, throughput)
            out[rows] += student(read - expected, (self.relative_noise * expected) ** 2 + least, entering)
        return out


@dataclass(frozen=True)
class BlockingModel:
    """Sediment: differential pressure from clean to limit over the capacity, by blocking laws of one family.

    With power p, differential^p is linear in throughput: 1 cake, 0 (logarithm) intermediate, -0.5 standard, -1 complete
    blocking (engineering reference 6); one shape stands for the last two, and one for filters that show nothing until
    shortly before their end. A shape is a power, the share of the clean differential that belongs to other parts
    (fittings, carbon) and does not count towards the limit, and the factor of the limit: its rules jump by a third at
    one pressure, and gauges, reference flow and reference temperature are known only so well.
    """

    powers: Floats
    other_share: Floats
    limit_factor: Floats
    relative_noise: float
    prior: HyperPrior

    @property
    def shapes(self) -> int:
        """Number of curve shapes."""
        return len(self.powers)

    def repeated(self, times: int) -> "BlockingModel":
        """The same model with every shape so many times over."""
        return replace(
            self,
            powers=np.tile(self.powers, times),
            other_share=np.tile(self.other_share, times),
            limit_factor=np.tile(self.limit_factor, times),
        )

    def remaining_after(self, remaining: Floats, throughput: Floats) -> Floats:
        """Capacity left, below zero when the limit is passed."""
        return remaining - throughput

    def until_exhausted(self, remaining: Floats, limit: Floats) -> Floats:
        """Until the limit: what is left."""
        del limit
        return remaining

    def differential_kpa(self, used: Floats, clean: Floats, limit: Floats) -> Floats:
        """Differential (kPa) after a share of the capacity; arrays (rows, shapes, grid); `clean`, `limit` per row."""

        out = np.empty(np.broadcast_shapes(used.shape, (1, self.shapes, 1)), dtype=used.dtype)
        for shape, (power, other_share, factor) in enumerate(
            zip(self.powers, self.other_share, self.limit_factor, strict=True)
        ):
            base = _row(clean * (1.0 - other_share), used)
            top = np.maximum(_row(factor * limit, used), 1.15 * base)
            share = np.clip(used[:, shape if used.shape[1] > 1 else 0], 0.0, 1.5)
            if power == 0.0:
                curve = base * np.exp(np.log(top / base) * share)
            else:
                line = np.maximum(base**power + (top**power - base**power) * share, 1e-6)
                curve = line if power == 1.0 else line ** (1.0 / power)
            out[:, shape] = _row(clean * other_share, used) + np.minimum(curve, 4.0 * top)
        return out

    def state(self, remaining: Floats) -> Floats:
        """Share used."""
        return 1.0 - remaining

    def shared_error(self, readings: StageReadings) -> tuple[Floats, Floats]:
        """None: what gauges share is in the spread of each differential."""
        nothing = np.zeros(len(readings.between))
        return nothing, nothing

    def probability_past(self, readings: StageReadings, limit: Floats) -> Floats:
        """By the differential that was read, and its spread."""
        del limit
        return np.asarray(ndtr((readings.between - readings.resolution) / readings.after))

    def log_likelihood(self, lead: Floats, both: Floats, throughput: Floats, readings: StageReadings) -> Floats:
        """Differential pressures against the blocking curve, heavy tails."""
        del both
        expected = self.differential_kpa(lead + throughput, readings.entering, readings.resolution)
        square = _column(readings.after, throughput) ** 2 + (self.relative_noise * expected) ** 2
        return student(
            _column(readings.between, throughput) - expected, square, _column(2.0 * readings.resolution, throughput)
        )


@dataclass(frozen=True)
class DepletionModel:
    """What finishes the water: it gives what it has and then no more, and a reading says which of the two it is.

    `missed` and `false_alarm` are the probabilities that a reading shows an exhausted one as sound, and a sound one as
    exhausted; `blur` is over what share of the capacity the one turns into the other. In readings `after` is 1 where
    the sign of exhaustion was read, and 0 where it was looked for and not there.
    """

    prior: HyperPrior
    missed: float = 0.1
    false_alarm: float = 0.05
    blur: float = 0.05
    shapes: int = 1

    def repeated(self, times: int) -> "DepletionModel":
        """The same model with every shape so many times over."""
        return replace(self, shapes=self.shapes * times)

    def remaining_after(self, remaining: Floats, throughput: Floats) -> Floats:
        """Capacity left, below zero when it is past its end."""
        return remaining - throughput

    def until_exhausted(self, remaining: Floats, limit: Floats) -> Floats:
        """Until nothing is left."""
        del limit
        return remaining

    def state(self, remaining: Floats) -> Floats:
        """What is left."""
        return remaining

    def shared_error(self, readings: StageReadings) -> tuple[Floats, Floats]:
        """None: what was seen twice was seen twice."""
        nothing = np.zeros(len(readings.after))
        return nothing, nothing

    def probability_past(self, readings: StageReadings, limit: Floats) -> Floats:
        """By what was read."""
        del limit
        return np.where(readings.after > 0.0, 1.0 - self.missed, self.false_alarm)

    def log_likelihood(self, lead: Floats, both: Floats, throughput: Floats, readings: StageReadings) -> Floats:
        """Whether what is read shows it exhausted: behind the last of the stage, so of all that is left of both."""
        del lead
        past = expit((throughput - both) / self.blur)
        shown = self.false_alarm + (1.0 - self.missed - self.false_alarm) * past
        return np.log(np.where(_column(readings.after, throughput) > 0.0, shown, 1.0 - shown))


def _column(values: Floats, like: Floats) -> Floats:
    """One value a row, to go with (rows, shapes, grid), in the precision of `like`."""
    return values[:, None, None].astype(like.dtype)


def _row(values: Floats, like: Floats) -> Floats:
    """One value a row, to go with (rows, grid), in the precision of `like`."""
    return values[:, None].astype(like.dtype)


# How far the capacity over the label lies from one fleet, place and cartridge to the next, and with what power of label
# and load it goes: weak priors, near what fleets made by others have taught (on seeds that are not reported). Everybody
# who changes a resin has a TDS meter in the bag and sees its end; few measure chlorine, and many filters have no gauge.
RESIN: Final = BedModel(
    transfer_units=np.array([7.0, 11.0, 17.0, 27.0]),
    relative_noise=0.12,
    floor=0.25,
    prior=HyperPrior(-0.2, 0.5, 0.25, 0.2, (1.0, 1.5, 1.5, 1.0), (-0.1, 0.2), (0.3, 0.3)),
)
CARBON: Final = BedModel(
    transfer_units=np.array([3.5, 6.0, 10.0, 18.0]),
    relative_noise=0.2,
    floor=0.03,
    prior=HyperPrior(-0.2, 0.6, 0.35, 0.25, (1.0, 1.5, 1.5, 1.0), (-0.1, 0.2), (0.3, 0.3), is_end_seen=False),
)
SEDIMENT: Final = BlockingModel(
    powers=np.tile([1.0, 0.0, -0.75, -3.0], 4),
    other_share=np.repeat([0.0, 0.6, 0.0, 0.6], 4),
    limit_factor=np.repeat([0.7, 0.7, 1.0, 1.0], 4),
    relative_noise=0.15,
    # Slopes on the logarithm of turbidity, on being the second of two in series, which sees less dirt, and on the
    # logarithms of label and usual flow: 0 where only litres count, -1 and 1 where only days do. The spreads are held
    # closer than elsewhere: filters go by the calendar, so the few lives of a small fleet look alike, whatever they
    # held.
    prior=HyperPrior(
        -0.4,
        0.6,
        0.45,
        0.35,
        (1.0, 2.0, 1.0, 1.0) * 4,
        (-0.3, 0.2, -0.2, 0.3),
        (0.4, 0.4, 0.4, 0.3),
        is_end_seen=False,
        spread_doubt=0.3,  # no source: settled on seeds 3 to 5 of the strangers' fleets, on no other
    ),
)

# No fleet has taught these yet: what they take before they are exhausted lies near the label for litres, and for lamps
# nearer, since makers state hours that nearly all reach. Common practice, no source.
FINISHING: Final[Mapping[str, DepletionModel]] = {
    "product_l": DepletionModel(HyperPrior(0.0, 0.4, 0.25, 0.25, (1.0,), (-0.1, 0.2), (0.3, 0.3))),
    "burning_h": DepletionModel(HyperPrior(0.15, 0.2, 0.1, 0.15, (1.0,), (-0.1, 0.0), (0.1, 0.1))),
}
"""By what wears the stage (`fleet.engineering.stages.Finishing.load`)."""
