"""Units of measure as people write them; the interface and log files spell them with what every keyboard has."""

import re
from typing import Final

_WRITTEN: Final = {"uS/cm": "µS/cm", "degC": "°C", "degF": "°F", "m3": "m³", "um": "µm"}
_SPELLED: Final = re.compile(r"(?<!\w)(" + "|".join(map(re.escape, _WRITTEN)) + r")(?!\w)")


def as_written(text: str) -> str:
    """A unit, or a text with units in it, as people write it.

    >>> as_written("uS/cm"), as_written("permeate TDS 21 uS/cm, 13.5 degC"), as_written("album")
    ('µS/cm', 'permeate TDS 21 µS/cm, 13.5 °C', 'album')
    """
    return _SPELLED.sub(lambda spelled: _WRITTEN[spelled[1]], text)
