"""Work that mends what a person saw: it is seen to be gone by whoever did the work."""

from collections.abc import Collection
from datetime import datetime

from accounts.models import Membership
from fleet.engineering.diagnosis import RULES, Work, WorkKind
from fleet.engineering.observations import OBSERVATION_MEANINGS
from fleet.models import Reading, Unit
from fleet.services import words


def seen_gone(
    *, unit: Unit, kind: str, causes: Collection[str], at: datetime, by: Membership, now: datetime
) -> Reading | None:
    """Store that what people saw at a unit is gone, as far as the work that was done there mends it.

    Parameters
    ----------
    kind, causes
        What was done, a `WorkKind`, and the causes it was done for. A look at the unit answers every finding that asks
        for one.
    at, by, now
        When, by whom, and when it was reported.

    Returns
    -------
    The reading that says so; None where nothing that was seen calls for this work.
    """
    wanted = {
        name
        for rule in RULES
        if isinstance(work := rule.causes[0].work, Work) and work.kind == kind
        if rule.causes[0].code in causes or kind == WorkKind.INSPECT
        for ask in rule.asks
        for name in ask
        if name in OBSERVATION_MEANINGS
    }
    if not wanted:
        return None
    newest: dict[str, bool] = {}
    rows = Reading.objects.current().taken_by(at).filter(unit=unit).exclude(observations={})
    for observations in rows.order_by("taken_at", "pk").values_list("observations", flat=True):
        newest.update({name: bool(seen) for name, seen in observations.items() if name in wanted})
    gone = {name: False for name in OBSERVATION_MEANINGS if newest.get(name)}
    if not gone:
        return None
    return Reading.objects.create(
        unit=unit,
        taken_at=at,
        received_at=now,
        recorded_by=by,
        source=Reading.Source.INSTALLER,
        observations=gone,
        note=words.gone_after_work(),
    )
