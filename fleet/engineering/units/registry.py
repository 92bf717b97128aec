"""The one pint registry, with the dimensions this trade needs of its own."""

from typing import Any, Final

import pint

from fleet.engineering.constants import (
    EQ_PER_L_IN_A_KILOGRAIN_PER_FT3,
    EQUIVALENT_MASS_CACO3,
    LITRE_PER_IMPERIAL_GALLON,
    LITRE_PER_US_GALLON,
    MILLIGRAM_PER_GRAIN,
    MOLAR_MASS_CACO3,
    MOLAR_MASS_CAO,
)

STORED_TDS_FACTOR: Final = 0.5
TDS_FACTOR_LOW: Final = 0.4
TDS_FACTOR_HIGH: Final = 1.0
SYSTEMS: Final = ("us", "metric")

registry: "Final[pint.UnitRegistry[Any]]" = pint.UnitRegistry(cache_folder=None)
# Dimensions of their own for amounts "as" something, so that milligrams of calcium never pass for milligrams of CaCO3.
registry.define("mg_per_L_as_CaCO3 = [amount_as_caco3]")
registry.define(f"grain_per_US_gallon = {MILLIGRAM_PER_GRAIN / LITRE_PER_US_GALLON!r} * mg_per_L_as_CaCO3")
registry.define(f"grain_per_imperial_gallon = {MILLIGRAM_PER_GRAIN / LITRE_PER_IMPERIAL_GALLON!r} * mg_per_L_as_CaCO3")
registry.define(f"german_degree = {10.0 * MOLAR_MASS_CACO3 / MOLAR_MASS_CAO!r} * mg_per_L_as_CaCO3")
registry.define("french_degree = 10 * mg_per_L_as_CaCO3")
registry.define(f"mmol_per_L_of_CaCO3 = {MOLAR_MASS_CACO3!r} * mg_per_L_as_CaCO3")
registry.define(f"meq_per_L_as_CaCO3 = {EQUIVALENT_MASS_CACO3!r} * mg_per_L_as_CaCO3")
registry.define("mg_per_L_on_the_house_scale = [meter_tds]")
registry.define(f"us_per_cm_at_25 = {STORED_TDS_FACTOR!r} * mg_per_L_on_the_house_scale")
registry.define("eq_per_L_of_resin = [exchange_capacity]")
registry.define(f"kilograin_per_cubic_foot = {EQ_PER_L_IN_A_KILOGRAIN_PER_FT3!r} * eq_per_L_of_resin")
registry.define("nephelometric_unit = [turbidity]")
registry.define("ph_unit = [acidity]")
