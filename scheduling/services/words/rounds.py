"""What is said of rounds: the day of an installer, moves by hand, plans."""

from datetime import time
from typing import Final

from accounts.language import gettext, gettext_noop

# In the words of the diagnosis rules, so that a finding's caution does not say the same a second time.
WET: Final = gettext_noop("Shut the feed and relieve the pressure before opening a housing.")
PUMP: Final = gettext_noop("Unplug before opening; pumps and solenoids belong on a residual-current protected circuit.")
RESIN: Final = gettext_noop(
    "Resin is slippery and irritates; keep it from children. Deionised water is not for drinking."
)
SANITISER: Final = gettext_noop(
    "Never mix sanitiser with acids or ammonia. Wear gloves and eye protection, air the room, and flush until none is "
    "left before water is used."
)
TRADE: Final = gettext_noop(
    "Keep the air gap at the drain; follow local codes and use licensed trades where the law asks for it."
)
DRINKING: Final = gettext_noop("No reading certifies drinking water; that takes an accredited laboratory.")


def hours(opens: time, closes: time) -> str:
    """When a site can be entered."""
    if (opens, closes) == (time.min, time.max):
        return gettext("at any time")
    return gettext("{opens:%H:%M} to {closes:%H:%M}").format(opens=opens, closes=closes)
