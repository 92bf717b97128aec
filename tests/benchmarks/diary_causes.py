"""From the causes that diagnosis names to the words of the service diaries.

Written after the diaries, from the list of causes alone.
"""

from typing import Final

from tests.benchmarks.fault_causes import CauseWords

DIARY_WORDS: Final = CauseWords(
    causes={
        "sediment filter blocked": ("prefilter_clogged",),
        "carbon block plugged": ("prefilter_clogged",),
        "carbon used up": (
            "carbon_exhausted",
            "lead_carbon_exhausted",
            "membrane_oxidised_carbon_exhausted",
            "carbon_bypassed",
            "chloramine_breakthrough",
        ),
        "membrane eaten by chlorine": (
            "membrane_oxidised",
            "membrane_oxidised_carbon_exhausted",
            "membrane_oxidised_untested",
        ),
        "membrane worn out": ("membrane_aged", "membrane_rejection_low"),
        "membrane scaled": ("membrane_scaling",),
        "membrane fouled": ("biofouling", "colloidal_fouling", "membrane_plugged", "carbon_fines"),
        "membrane seal leaks": ("o_ring_leak", "membrane_seal_worn", "membrane_not_seated", "permeate_tube_cracked"),
        "membrane damaged": ("membrane_damaged", "permeate_tube_cracked", "membrane_rejection_low"),
        "wrong membrane": ("membrane_of_another_size",),
        "restrictor blocked": ("restrictor_blocked", "concentrate_line_blocked"),
        "restrictor lets too much through": ("restrictor_missing", "restrictor_worn", "restrictor_too_wide"),
        "flush valve open": ("flush_valve_open",),
        "wrong restrictor": ("restrictor_too_tight", "restrictor_too_wide"),
        "shut-off valve does not close": (
            "shutoff_valve_fault",
            "float_valve_does_not_close",
            "float_valve_stuck_open",
        ),
        "check valve does not hold": ("check_valve_fault",),
        "tank has lost its air": ("tank_precharge_wrong",),
        "pump weak or dead": ("pump_not_running", "pump_worn", "pump_suction_starved", "pressure_switch_fault"),
        "supply pressure low": ("line_pressure_low", "line_pressure_low_no_booster_pump"),
        "feed valve not fully open": ("feed_shut",),
        "resin used up": ("di_both_exhausted", "di_exhausted_and_releasing"),
        "lead resin used up": ("di_lead_exhausted",),
        "resin used up too soon": (
            "carbon_dioxide_load",
            "silica_load",
            "ammonium_load",
            "weak_ions_break_through_first",
        ),
        "water slips past the resin": ("resin_channelling",),
        "salt in the first minutes": ("tds_creep",),
        "probes exchanged": ("probes_swapped", "tubes_crossed"),
        "gauge broken": ("pressure_gauge_fault",),
        "leak": ("water_leak", "leak"),
        "feed water changed": ("supply_changed",),
        "product above its limit": (),
        "smell or taste": ("tank_biofilm", "carbon_old", "post_filter_old", "growth_in_unit"),
        "new membrane still flushing": ("membrane_running_in", "tds_creep", "standstill_sample"),
    },
    flags={"probes exchanged": ("permeate_above_feed", "transposed")},
)
