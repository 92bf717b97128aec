"""What a fitting of the catalogue is for: the one list that the catalogue, its API and sizing share."""

from collections.abc import Mapping
from typing import Final

from accounts.language import gettext_noop

PURPOSES: Final[Mapping[str, str]] = {
    "booster_pump": gettext_noop("booster pump"),
    "flow_restrictor": gettext_noop("flow restrictor"),
    "cartridge_housing": gettext_noop("cartridge housing"),
    "membrane_housing": gettext_noop("membrane housing"),
    "pressurised_tank": gettext_noop("pressurised tank"),
    "open_tank": gettext_noop("open storage tank"),
    "softener": gettext_noop("softener"),
    "degassing": gettext_noop("degassing of carbon dioxide"),
    "remineralisation": gettext_noop("remineralisation"),
    "tee": gettext_noop("tee"),
    "flush_valve": gettext_noop("flush valve"),
    "automatic_shutoff_valve": gettext_noop("automatic shut-off valve"),
    "check_valve": gettext_noop("check valve"),
    "float_valve": gettext_noop("float valve"),
    "pressure_regulator": gettext_noop("pressure regulator"),
    "pressure_gauge": gettext_noop("pressure gauge"),
    "leak_detector": gettext_noop("leak detector with shut-off"),
    "tds_meter": gettext_noop("two-point TDS meter"),
    "tap": gettext_noop("tap"),
    "tubing": gettext_noop("tubing"),
    "drain_connection": gettext_noop("drain connection"),
    "blending_valve": gettext_noop("blending valve"),
    "uv_unit": gettext_noop("ultraviolet unit"),
    "membrane_seals": gettext_noop("O-rings of the membrane housing"),
}
"""Name in code, API and files -> words of the trade."""

KINDS_WITH_PURPOSE: Final = ("accessory", "small_part")
"""A cartridge says by its kind what it is for."""
