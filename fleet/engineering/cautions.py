"""What to mind at the work and with the water, each said once: findings, day sheets and offers share these sentences.

They are spoken with `gettext` where they are told.
"""

from typing import Final

from accounts.language import gettext_noop as _

ISOLATE: Final = _("Shut the feed and relieve the pressure before opening a housing.")
POWER: Final = _("Unplug before opening; pumps and solenoids belong on a residual-current protected circuit.")
SANITISE: Final = _(
    "Take the cartridges and the membrane out before sanitising; never mix sanitisers with acids or ammonia; wear "
    "gloves and eye protection and air the room; flush until none is left and test for chlorine before refitting."
)
CODES: Final = _("Keep the air gap at the drain; follow local codes and use licensed trades where the law asks for it.")
MIND_RESIN: Final = _("Resin is slippery and irritates; keep it from children. Deionised water is not for drinking.")
DRINKING: Final = _(
    "Reverse osmosis does not make unsafe water safe, and nothing disinfects behind the carbon: whoever has a weak "
    "immune system or cares for an infant asks a doctor and the water authority first; never use it for dialysis."
)
NO_CERTIFICATE: Final = _("No reading certifies drinking water; that takes an accredited laboratory.")
ANIMALS: Final = _("Chlorine and chloramine kill aquarium animals: test before the water is used.")
METALS: Final = _("This water attacks brass, copper and solder: plastic or stainless steel behind the membrane.")
NO_PART: Final = _("No part is needed; do not change anything on this reading alone.")
FLUSH_CARBON: Final = _("Flush new carbon to the drain, until it runs clear, before water reaches the membrane.")
FLUSH_MEMBRANE: Final = _("Flush a new membrane to the drain, until the readings are steady, before its water is used.")
FLUSH_RESIN: Final = _("Flush new resin to the drain, until the readings are steady, before its water is used.")
FLUSH_BEFORE_DRINKING: Final = _(
    "Run new post-carbon and mineral cartridges to the drain until the water is clear, before anybody drinks of it."
)
UV_LIGHT: Final = _(
    "Unplug the UV lamp and let it cool before its chamber is opened, and never look at a burning one: it burns eyes "
    "and skin."
)
UV_MERCURY: Final = _(
    "UV lamps hold mercury: touch the new one with clean gloves only, take the old one whole to where local rules want "
    "it; if one breaks, air the room, and do not sweep or vacuum."
)
UV_GAP: Final = _(
    "What runs while the lamp is dark is not disinfected: shut the tap, clean the sleeve, let the lamp warm up, and "
    "disinfect what lies behind it before anybody drinks."
)
COLD_WATER: Final = _("Cold water only: connect to the cold line, which must stay below {limit}.")
"""Told with the warmest feed, `WARMEST_FEED_DEGC`, in the units of the reader."""
WARMEST_FEED_DEGC: Final = 45.0
"""What thin-film membranes and plastic housings usually allow. Common practice, no source."""
DISPOSAL: Final = _("Dispose of exhausted resin by local rules, never down the drain.")
LIGHT_PROOF: Final = _("Keep stored drinking water in the dark: tank and tubing that let light in grow algae.")
# Once a year is what health authorities advise owners of wells (from memory).
TEST_WELL: Final = _(
    "Own well: have it tested for bacteria by an accredited laboratory before first use, every year and after floods."
)
