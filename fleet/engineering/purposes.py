"""What a fitting of the catalogue is for: the one list that the catalogue, its API and sizing share."""

from collections.abc import Mapping
from typing import Final

PURPOSES: Final[Mapping[str, str]] = {
    "booster_pump": "booster pump",
    "flow_restrictor": "flow restrictor",
    "cartridge_housing": "cartridge housing",
    "membrane_housing": "membrane housing",
    "pressurised_tank": "pressurised tank",
    "open_tank": "open storage tank",
    "softener": "softener",
    "degassing": "degassing of carbon dioxide",
    "remineralisation": "remineralisation",
    "tee": "tee",
    "flush_valve": "flush valve",
    "automatic_shutoff_valve": "automatic shut-off valve",
    "check_valve": "check valve",
    "float_valve": "float valve",
    "pressure_regulator": "pressure regulator",
    "pressure_gauge": "pressure gauge",
    "leak_detector": "leak detector with shut-off",
}
"""Name in code, API and files -> words of the trade."""

KINDS_WITH_PURPOSE: Final = ("accessory", "small_part")
"""A cartridge says by its kind what it is for."""
