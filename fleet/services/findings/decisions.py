"""A person says whether a finding is true; where the stored readings are wrong because of it, they are corrected."""

from datetime import datetime
from typing import Any, Final

from django.db import transaction
from django.forms.models import model_to_dict

from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from accounts.services import record
from fleet.engineering.diagnosis import CAUSES
from fleet.models import Finding, Reading, Unit
from fleet.services import words
from fleet.services.consequences import Kind, announce

_DECISIONS: Final = (Finding.State.CONFIRMED, Finding.State.DISMISSED)
_FEED, _PERMEATE = "feed_tds_mg_per_l", "permeate_tds_mg_per_l"


def decide(*, finding: Finding, decision: str, by: Membership, now: datetime, note: str = "") -> Finding:
    """Confirm or dismiss an open finding, and leave an audit entry.

    Confirming that the probes are swapped adds a correction, feed and permeate exchanged, for every reading since they
    were; the readings as they came are kept.

    Parameters
    ----------
    decision
        'confirmed' or 'dismissed'. A confirmed finding can still be dismissed.

    Raises
    ------
    InvalidInput
        For any other decision.
    Conflict
        When the finding is decided so already, or closed.
    """
    if decision not in _DECISIONS:
        raise InvalidInput(
            "unknown_decision", f"'{decision[:40]}' is not one of {', '.join(_DECISIONS)}.", pointer="/decision"
        )
    with transaction.atomic():
        # Looking at the unit anew waits for this, and this for that.
        Unit.objects.select_for_update(no_key=True).get(pk=finding.unit_id)
        locked = Finding.objects.select_for_update(no_key=True).get(pk=finding.pk)
        if locked.state not in Finding.LIVE or locked.state == decision:
            raise Conflict("finding_is_decided", f"This finding is {locked.state} already.")
        before = locked.state
        locked.state = decision
        locked.decided_at = now
        locked.decided_by = by
        locked.decision_note = note
        locked.save(update_fields=["state", "decided_at", "decided_by", "decision_note"])
        corrected = []
        cause = CAUSES.get(locked.cause)
        if decision == Finding.State.CONFIRMED and cause is not None and cause.has_exchanged_probes:
            corrected = _exchange(locked, by, now)
        details: dict[str, Any] = {"cause": locked.cause, "from": before, "to": decision, "note": note}
        if corrected:
            details["corrected_readings"] = corrected
        # Confirmed, it may have corrected readings.
        changed = Kind.READINGS if corrected else Kind.DECISION
        announce(by.company_id, units=[locked.unit_id], kind=changed, now=now)
        record(by=by, action="decide finding", subject=locked, now=now, details=details)
    return locked


def _exchange(finding: Finding, by: Membership, now: datetime) -> list[int]:
    """Correct the readings of the unit, from the newest back, for as long as permeate stands above feed."""
    rows = (
        Reading.objects.current()
        .filter(unit_id=finding.unit_id, **{f"{_FEED}__isnull": False, f"{_PERMEATE}__isnull": False})
        .order_by("-taken_at", "-pk")
    )
    swapped: list[Reading] = []
    for reading in rows.iterator(chunk_size=200):
        if getattr(reading, _PERMEATE) <= getattr(reading, _FEED):
            if reading.taken_at > finding.last_seen_at:
                # The probes have been put right since; the wrong readings lie before.
                continue
            break
        swapped.append(reading)
    Reading.objects.bulk_create([_exchanged(reading, finding, by, now) for reading in swapped])
    return [reading.pk for reading in swapped]


def _exchanged(reading: Reading, finding: Finding, by: Membership, now: datetime) -> Reading:
    copied = model_to_dict(reading, fields=[*Reading.QUANTITIES, *_KEPT])
    copied[_FEED], copied[_PERMEATE] = copied[_PERMEATE], copied[_FEED]
    as_sent = dict(reading.as_sent)
    feed, permeate = as_sent.pop("feed_tds", None), as_sent.pop("permeate_tds", None)
    if permeate is not None:
        as_sent["feed_tds"] = permeate
    if feed is not None:
        as_sent["permeate_tds"] = feed
    note = words.readings_exchanged(finding.pk)
    return Reading(
        **copied,
        unit_id=reading.unit_id,
        instrument_id=reading.instrument_id,
        taken_at=reading.taken_at,
        recorded_by=by,
        reference=f"exchanged-{reading.pk}",
        note=f"{reading.note}\n{note}".strip(),
        as_sent=as_sent,
        flags=[flag for flag in reading.flags if flag.get("code") not in ("transposed", "permeate_above_feed")],
        corrects=reading,
        received_at=now,
    )


_KEPT: Final = (
    "source",
    "person",
    "state",
    "minutes_since_start",
    "tank_valve",
    "pump",
    "tank_is_full",
    "sampled_after_flush",
    "occasion",
    "observations",
)
