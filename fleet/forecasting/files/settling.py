"""What a header or a word of one file means only beside another file."""

from collections.abc import Collection
from typing import Any, Final

import numpy as np

from fleet.forecasting.files.words import CLOGGED
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.build import Fault

OUTLET_TDS: Final = "outlet_tds_mg_per_l"
"""Field of a column 'TDS out': behind the membrane of a unit without resin, else one cannot know."""

_STOPPED_BY_CLOGGING: Final = (words.STAGES[words.SEDIMENT], words.STAGES[words.MEMBRANE])


def settle_clogged(columns: dict[str, dict[str, Any]]) -> None:
    """What clogged was exhausted where flow and pressure are the limit; of carbon and resin it tells nothing.

    Placements name their position already.
    """
    placements, positions = columns["placements"], columns["positions"]
    reasons = placements.get("reason")
    if reasons is None or CLOGGED not in reasons:
        return
    stage_of = dict(zip(positions["position_id"], positions["stage"], strict=True))
    placements["reason"] = [
        settled_reason(reason, stage_of.get(position))
        for reason, position in zip(reasons, placements["position_id"], strict=True)
    ]


def settled_reason(reason: Any, stage: Any) -> Any:
    """The reason of a removal as it is kept, where one was written that hangs on the stage.

    >>> settled_reason("clogged", "sediment"), settled_reason("clogged", "carbon"), settled_reason("early", "carbon")
    ('exhausted', 'unknown', 'early')
    """
    if reason != CLOGGED:
        return reason
    return words.REMOVAL_REASONS[words.EXHAUSTED if stage in _STOPPED_BY_CLOGGING else words.UNKNOWN]


def units_with_resin(columns: dict[str, dict[str, Any]]) -> set[Any]:
    """Units that are RO/DI by their kind, or that have a resin position."""
    units, positions = columns["units"], columns["positions"]
    kinds = units.get("kind") or [None] * len(units["unit_id"])
    with_resin = {unit for unit, kind in zip(units["unit_id"], kinds, strict=True) if kind == "ro_di"}
    resin = words.STAGES[words.RESIN]
    return with_resin | {
        unit for unit, stage in zip(positions["unit_id"], positions["stage"], strict=True) if stage == resin
    }


def settle_outlet_tds(readings: dict[str, Any] | None, with_resin: Collection[Any], faults: list[Fault]) -> None:
    """Values of a column 'TDS out': permeate of units without resin; of the others they are reported, and not used."""
    outlet = (readings or {}).pop(OUTLET_TDS, None)
    if readings is None or outlet is None:
        return
    has_resin = np.array([unit in with_resin for unit in readings["unit_id"]], dtype=bool)
    permeate = np.asarray(readings.get("permeate_tds_mg_per_l", np.full(len(outlet), np.nan)), dtype=np.float64)
    readings["permeate_tds_mg_per_l"] = np.where(np.isnan(permeate) & ~has_resin, outlet, permeate)
    for row in np.flatnonzero(has_resin & ~np.isnan(outlet)).tolist():
        why = (
            "'TDS out' of a unit with resin can be behind the membrane or behind the resin; write 'permeate tds' or "
            "'product tds'; not read"
        )
        faults.append(Fault("readings", row, OUTLET_TDS, "unknown", why, False))
