"""How long an order takes where nobody says, and how long at most. Common practice, no source."""

from typing import Final

USUAL_LEAD_TIME_DAYS: Final = 7
"""Calendar days from order to store where neither the item nor its supplier says."""

LONGEST_LEAD_TIME_DAYS: Final = 730
LONGEST_LEAD_TIME_SD_DAYS: Final = 180

WEEKEND: Final = frozenset({5, 6})
"""Weekdays, from Monday 0, on which nobody delivers or orders where nobody says."""
