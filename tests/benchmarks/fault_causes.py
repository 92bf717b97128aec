"""From the causes that diagnosis names to the words in which the truth of a history is told.

Written after the histories, from the list of causes and their titles alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class CauseWords:
    """The words of one set of histories, and which causes and doubts say them."""

    causes: Mapping[str, tuple[str, ...]]
    flags: Mapping[str, tuple[str, ...]]

    def of(self, cause: str) -> set[str]:
        """Every word that the cause says."""
        return {words for words, causes in self.causes.items() if cause in causes}


CAUSES_OF_WORDS: Final = {
    "seal leaks": ("o_ring_leak", "membrane_seal_worn", "membrane_not_seated", "permeate_tube_cracked"),
    "membrane damaged": ("membrane_damaged", "permeate_tube_cracked", "membrane_rejection_low"),
    "membrane oxidised": (
        "membrane_oxidised",
        "membrane_oxidised_carbon_exhausted",
        "membrane_oxidised_untested",
    ),
    "membrane scaled": ("membrane_scaling",),
    "membrane fouled": ("biofouling", "colloidal_fouling", "membrane_plugged", "carbon_fines"),
    "membrane worn out": ("membrane_aged", "membrane_rejection_low"),
    "wrong membrane": ("membrane_of_another_size",),
    "permeate held back": ("check_valve_stuck", "tank_valve_shut", "tank_back_pressure", "membrane_plugged"),
    "restrictor blocked": ("restrictor_blocked", "concentrate_line_blocked"),
    "restrictor of wrong size": ("restrictor_too_tight", "restrictor_too_wide"),
    "restrictor passes too much": ("restrictor_missing", "restrictor_worn", "flush_valve_open", "restrictor_too_wide"),
    "prefilter clogged": ("prefilter_clogged",),
    "supply pressure low": ("line_pressure_low", "line_pressure_low_no_booster_pump"),
    "booster pump fails": ("pump_not_running", "pump_worn", "pump_suction_starved", "pressure_switch_fault"),
    "shut-off valve fails": ("shutoff_valve_fault",),
    "check valve fails": ("check_valve_fault",),
    "no shut-off valve fitted": ("shutoff_valve_not_fitted",),
    "tank lost its air": ("tank_precharge_wrong",),
    "carbon exhausted": ("carbon_exhausted", "lead_carbon_exhausted", "membrane_oxidised_carbon_exhausted"),
    "carbon unfit for chloramine": ("chloramine_breakthrough", "chloramine_ammonium"),
    "resin exhausted": ("di_both_exhausted", "di_exhausted_and_releasing", "resin_channelling"),
    "lead resin exhausted": ("di_lead_exhausted",),
    "resins in the wrong order": ("resins_exchanged",),
    "resin loaded unseen": ("carbon_dioxide_load", "silica_load", "ammonium_load"),
    "feed and permeate exchanged": ("probes_swapped", "tubes_crossed"),
    "value mistyped": (
        "flow_entry_error",
        "flow_or_tds_reading_wrong",
        "reading_not_valid_for_trend",
        "chlorine_test_error",
        "salt_in_cup",
        "sample_from_concentrate",
        "probes_swapped",
        "tubes_crossed",
    ),
    "meter wrong": ("meter_out_of_calibration", "different_tds_factor", "dirty_cell", "wrong_probe"),
    "feed water changed": ("supply_changed",),
    "totaliser replaced": ("counter_reversed",),
    "water on the floor": ("leak", "water_leak"),
}
"""Causes that say what the word says; empty where no cause says it yet."""

FLAGS_OF_WORDS: Final = {
    "feed and permeate exchanged": ("permeate_above_feed",),
    "value mistyped": ("factor_of_ten", "transposed"),
    "totaliser replaced": ("totaliser_backwards",),
}
"""Doubts that the intake tells at once about a row."""

NOTICES: Final = {
    "cold_water_not_a_fault",
    "warm_water_not_a_fault",
    "membrane_running_in",
    "no_reading_for_weeks",
}
"""Say that nothing is wrong, or that nobody has looked; counted apart."""

HISTORY_WORDS: Final = CauseWords(CAUSES_OF_WORDS, FLAGS_OF_WORDS)
