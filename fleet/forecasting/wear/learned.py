"""What a fleet has taught, apart from its units: enough to forecast a few of them again without reading all the
others."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Final, Self

import numpy as np

from fleet.forecasting.inputs.levels import fit_swing, shrunk_means
from fleet.forecasting.inputs.tables import Floats, Ids, Indexes
from fleet.forecasting.wear.habits import Habit, Words
from fleet.forecasting.wear.pooling import Hyper
from fleet.forecasting.wear.shared import Shared

FORM: Final = 5
"""Number of the form in which a lesson is stored, raised when a stage's parameters change their number or sense."""


@dataclass(frozen=True)
class Learned:
    """Parameters of every stage and means of the whole fleet.

    `hypers` has the keys 'membrane_flow' and 'membrane_salt', and the names of the other stages, as far as the fleet
    has such stages; `means` holds means of logarithms and levels by name. Give it to `forecast` to forecast part of a
    fleet.
    """

    hypers: Mapping[str, Hyper] = field(default_factory=dict)
    means: Mapping[str, float] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """As plain numbers and lists, to be stored as JSON."""
        return {
            "form": FORM,
            "means": dict(self.means),
            "hypers": {
                name: {
                    "mean": hyper.mean,
                    "place_spread": hyper.place_spread,
                    "cartridge_spread": hyper.cartridge_spread,
                    "slopes": list(hyper.slopes),
                    "lateness_days": hyper.habit.lateness_days,
                    "notice": hyper.habit.notice,
                    "wrong": hyper.habit.wrong,
                    "words": None if hyper.habit.words is None else asdict(hyper.habit.words),
                    "shape_weights": [float(weight) for weight in hyper.shape_weights],
                    "places": hyper.places,
                    "mean_spread": hyper.mean_spread,
                    "common": {
                        kind: {
                            "spread": common.spread,
                            "taught": {k: list(v) for k, v in (common.taught or {}).items()},
                            "heard": {k: list(v) for k, v in (common.heard or {}).items()},
                        }
                        for kind, common in hyper.common.items()
                    },
                }
                for name, hyper in self.hypers.items()
            },
        }

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Self:
        """The reverse of `to_dict`.

        Raises
        ------
        ValueError
            When what was stored is not what `to_dict` gives, or stems from other models of wear.
        """
        if stored.get("form") != FORM:
            raise ValueError(f"this was taught for other models of wear (form {stored.get('form')}, not {FORM})")
        try:
            hypers = {
                str(name): Hyper(
                    mean=float(values["mean"]),
                    place_spread=float(values["place_spread"]),
                    cartridge_spread=float(values["cartridge_spread"]),
                    slopes=tuple(float(slope) for slope in values["slopes"]),
                    habit=Habit(
                        float(values["lateness_days"]),
                        float(values["notice"]),
                        float(values["wrong"]),
                        Words(**values["words"]) if values["words"] is not None else None,
                    ),
                    shape_weights=np.array(values["shape_weights"], dtype=np.float64),
                    places=int(values["places"]),
                    mean_spread=float(values["mean_spread"]),
                    common={
                        str(kind): Shared(
                            float(common["spread"]),
                            *(
                                {str(name): (float(one), float(other)) for name, (one, other) in common[part].items()}
                                for part in ("taught", "heard")
                            ),
                        )
                        for kind, common in values["common"].items()
                    },
                )
                for name, values in stored["hypers"].items()
            }
            return cls(hypers=hypers, means={str(name): float(value) for name, value in stored["means"].items()})
        except (KeyError, TypeError, AttributeError) as error:
            raise ValueError(f"this is not what a fleet has taught: {error!r} is missing or of another kind") from None


class Pool:
    """Means over the fleet: learned from its readings, or held to what was learned before; collects what it finds.

    What is held does not yield to the units at hand: a unit has the same forecast whichever others it is forecast with.
    """

    def __init__(self, held_means: Mapping[str, float] | None = None) -> None:
        self.held_means = held_means or {}
        self.means: dict[str, float] = {}

    def mean(
        self,
        name: str,
        group: Indexes,
        value: Floats,
        parent: Ids,
        *,
        default: float,
        noise: float,
        spread: float,
    ) -> Floats:
        """Mean of every group, pulled towards that of its parent, named for each, and the whole (see
        `levels.shrunk_means`); of a parent that was not there before only the whole is known."""
        names, at = np.unique(parent.astype(str), return_inverse=True)
        keys = [f"{name} of {parent_name!r}" for parent_name in names.tolist()]
        held = None
        if name in self.held_means:
            default = self.held_means[name]
            held = np.array([self.held_means.get(key, default) for key in keys])
        means, of_parents, top = shrunk_means(
            group,
            value,
            at.astype(np.int64),
            len(parent),
            default=default,
            noise=noise,
            spread=spread,
            held=held,
        )
        self.means[name] = top
        # without any group there is no parent, but one mean
        self.means.update(zip(keys, of_parents.tolist(), strict=False))
        return means

    def swing(
        self,
        name: str,
        group: Indexes,
        day: Floats,
        value: Floats,
        count: int,
        default: Floats,
        spread: Floats,
        noise: float,
        firmness: float = 0.25,
    ) -> Floats:
        """Yearly swing of every group, pulled towards the common one (see `levels.fit_swing`)."""
        names = [f"{name}_{term}" for term in ("constant", "cosine", "sine")]
        is_known = all(part in self.held_means for part in names)
        start = np.array([self.held_means[part] for part in names]) if is_known else default
        swing, common = fit_swing(group, day, value, count, start, spread, noise, firmness, is_known)
        self.means.update(zip(names, common.tolist(), strict=True))
        return swing

    def number(self, name: str, learned: float) -> float:
        """A single number of the fleet: what was known before, else what is found now."""
        value = self.held_means.get(name, learned)
        self.means[name] = value
        return value
