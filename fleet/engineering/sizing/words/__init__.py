"""What sizing tells: sentences from facts, each for who fits the unit and for who pays it.

Spoken through `accounts.language`. `quantities` are words inside of a sentence; the other modules are named after what
they speak of.
"""

Sentences = tuple[str, str]
"""For who fits the unit, and for who pays it."""
