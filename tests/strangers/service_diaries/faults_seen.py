"""Faults that no gauge shows and that somebody sees, hears or tastes, and writes down."""

from tests.strangers.service_diaries.fault import Fault, Seen
from tests.strangers.service_diaries.units import HAS_PUMP, HAS_TANK

FAULTS_SEEN = (
    Fault(
        "drain never stops",
        "The shut-off valve no longer closes: the store is full, and the drain runs day and night.",
        "moderate",
        ("shut-off valve does not close", "check valve does not hold"),
        weight=2,
        seen=(Seen(6, "client", "the drain runs on although nobody has drawn water since yesterday", "drain"),),
    ),
    Fault(
        "check valve does not hold",
        "Permeate runs back through the check valve, so that the pump comes on every few minutes.",
        "moderate",
        ("check valve does not hold", "shut-off valve does not close"),
        kinds=HAS_PUMP,
        seen=(Seen(4, "client", "the pump starts again and again, at night too, and the drain drips on", "drain"),),
    ),
    Fault(
        "tank has lost its air",
        "The bladder of the tank has lost its air.",
        "minor",
        ("tank has lost its air",),
        kinds=HAS_TANK,
        seen=(Seen(8, "client", "one glass comes well, then only a trickle", "slow"),),
    ),
    Fault(
        "leak",
        "A fitting drips under the sink.",
        "severe",
        ("leak",),
        seen=(Seen(1, "client", "the cupboard floor is wet below the unit", "leak"),),
    ),
    Fault(
        "water smells",
        "Slime grows in the tank.",
        "moderate",
        ("smell or taste",),
        kinds=HAS_TANK,
        seen=(Seen(2, "client", "the water tastes and smells musty", "taste"),),
    ),
)
