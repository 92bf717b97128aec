"""Physical constants, exact unit factors and molar masses, each once.

Sources: the litre, gallon, grain, pound-force and inch are exact by definition (NIST SP 811; the imperial gallon by
UK law of 1985), and the year is the Julian one of 365.25 days. The gas constant is exact since the SI of 2019. Molar
masses follow the IUPAC abridged atomic weights.
"""

from typing import Final

ZERO_CELSIUS_KELVIN: Final = 273.15
GAS_CONSTANT_J_PER_MOL_K: Final = 8.31446261815324

LITRE_PER_US_GALLON: Final = 3.785411784
LITRE_PER_IMPERIAL_GALLON: Final = 4.54609
LITRE_PER_CUBIC_FOOT: Final = 28.316846592
MILLIGRAM_PER_GRAIN: Final = 64.79891
KILOPASCAL_PER_PSI: Final = 6.894757293168361
STANDARD_ATMOSPHERE_KPA: Final = 101.325
MINUTES_PER_DAY: Final = 1440.0
SECONDS_PER_DAY: Final = 86_400
DAYS_PER_YEAR: Final = 365.25

MOLAR_MASS_CACO3: Final = 100.0869
EQUIVALENT_MASS_CACO3: Final = MOLAR_MASS_CACO3 / 2.0
EQ_PER_L_IN_A_KILOGRAIN_PER_FT3: Final = MILLIGRAM_PER_GRAIN / EQUIVALENT_MASS_CACO3 / LITRE_PER_CUBIC_FOOT
MOLAR_MASS_NACL: Final = 58.4428
MOLAR_MASS_CO2: Final = 44.0095
MOLAR_MASS_SIO2: Final = 60.0843
MOLAR_MASS_CAO: Final = 56.0774
