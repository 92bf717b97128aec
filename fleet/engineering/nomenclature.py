"""Symbol, name, unit and meaning of every quantity: the names that code, API and log files share."""

from dataclasses import dataclass
from typing import Final

from fleet.engineering.quantities import READING_QUANTITIES, RUNNING_TIME
from fleet.engineering.units import QUANTITY_KINDS

_SUFFIX_UNITS: Final = {
    "_mg_per_l_as_caco3": "mg/L as CaCO3",
    "_mg_per_l": "mg/L",
    "_l_per_day": "L/day",
    "_l_per_week": "L/week",
    "_ml_per_min": "mL/min",
    "_eq_per_l": "eq/L",
    "_kpa": "kPa",
    "_degc": "degC",
    "_kelvin": "K",
    "_fraction": "fraction",
    "_days": "days",
    "_ntu": "NTU",
    "_um": "um",
    "_l": "L",
    "_g": "g",
}
"""What stands at the end of a quantity's name, and the unit that it says; a longer ending before the one it ends in."""


def without_unit(name: str) -> str:
    """Return a quantity's name without the unit at its end; the same where there is none.

    Examples
    --------
    >>> [without_unit(name) for name in ("feed_tds_mg_per_l", "inlet_pressure_kpa", "feed_ph")]
    ['feed_tds', 'inlet_pressure', 'feed_ph']
    """
    ending = next((suffix for suffix in _SUFFIX_UNITS if name.endswith(suffix)), "")
    return name.removesuffix(ending)


@dataclass(frozen=True)
class Term:
    """One quantity: its symbol in formulas, its name in code, and what it means."""

    symbol: str
    name: str
    meaning: str

    @property
    def unit(self) -> str:
        """Unit it is kept in; "-" for a ratio."""
        if self.name in QUANTITY_KINDS:
            return QUANTITY_KINDS[self.name].canonical_unit
        return next((unit for suffix, unit in _SUFFIX_UNITS.items() if self.name.endswith(suffix)), "-")


READING_TERMS: Final = tuple(
    Term(quantity.symbol, quantity.name, quantity.meaning) for quantity in (*READING_QUANTITIES, RUNNING_TIME)
)
WATER_TERMS: Final = (
    Term("pH", "ph", "pH of a feed water sample"),
    Term("Alk", "alkalinity_mg_per_l_as_caco3", "alkalinity of a sample"),
    Term("H", "hardness_mg_per_l_as_caco3", "calcium and magnesium of a sample"),
    Term("Cl_free", "free_chlorine_mg_per_l", "free chlorine of a sample, as Cl2"),
    Term("Cl_tot", "total_chlorine_mg_per_l", "total chlorine of a sample, as Cl2"),
    Term("Fe", "iron_mg_per_l", "iron of a sample"),
    Term("Mn", "manganese_mg_per_l", "manganese of a sample"),
    Term("SiO2", "silica_mg_per_l", "silica of a sample, as SiO2"),
    Term("Turb", "turbidity_ntu", "turbidity of a sample"),
    Term("C", "tds_mg_per_l", "TDS of a sample, 0.5 scale"),
)
ITEM_TERMS: Final = (
    Term("d", "micron_rating_um", "particle size a sediment cartridge holds back"),
    Term("V_r", "rated_volume_l", "volume on the label: treated by a cartridge, held by a tank"),
    Term("t_UV", "rated_burning_hours", "hours that a UV lamp burns by its label"),
    Term("V_C", "carbon_volume_l", "bed volume of a carbon cartridge"),
    Term("m_Cl", "chlorine_capacity_g", "chlorine a carbon cartridge takes out in its life, as Cl2"),
    Term(
        "Q_r",
        "rated_flow_l_per_day",
        "flow on the label: permeate of a membrane, at the test condition; concentrate of a restrictor; feed of a pump",
    ),
    Term("P_r", "rated_pressure_kpa", "test pressure of the label, gauge"),
    Term("T_r", "rated_temperature_degc", "test temperature of the label"),
    Term("C_r", "rated_tds_mg_per_l", "NaCl of the test solution"),
    Term("Y_r", "rated_recovery_fraction", "recovery of the test"),
    Term("R_r", "rejection_fraction", "rejection: 1 - C_p/C_f, of the label for an item, as read for an indicator"),
    Term("U", "water_u_kelvin", "temperature coefficient of the membrane"),
    Term("V_R", "resin_volume_l", "bed volume of a resin cartridge"),
    Term("q_R", "resin_capacity_eq_per_l", "exchange capacity of the resin"),
)
INDICATOR_TERMS: Final = (
    Term("SP", "salt_passage_fraction", "C_p/C_f"),
    Term("Y", "recovery_fraction", "Q_p/(Q_p + Q_c)"),
    Term("r", "waste_ratio", "Q_c/Q_p"),
    Term(
        "NDP",
        "net_driving_pressure_kpa",
        "P_f - P_p less osmotic pressure of the mean brine, plus that of the permeate",
    ),
    Term("Q_ps", "normalised_permeate_flow_l_per_day", "Q_p brought to the unit's own baseline condition"),
    Term("Q_ps/Q_0", "normalised_flow_ratio", "normalised flow over that of the baseline"),
    Term("SP_s", "normalised_salt_passage_fraction", "salt passage brought to the baseline condition"),
    Term("SP_s/SP_0", "normalised_salt_passage_ratio", "normalised salt passage over that of the baseline"),
    Term("Q_p/Q_e", "flow_over_expected", "permeate flow over what the label gives at this condition"),
    Term("dP", "prefilter_differential_pressure_kpa", "P_line - P_pre"),
    Term(
        "dP_n",
        "normalised_prefilter_differential_pressure_kpa",
        "the same at the design feed flow and the viscosity of 25 degC",
    ),
    Term("b_lead", "lead_outlet_fraction", "C_lead/C_p: breakthrough of the lead resin"),
    Term("b_prod", "product_fraction", "C_prod/C_p: breakthrough of the whole resin"),
    Term("E_C", "carbon_removal_fraction", "share of the chlorine that all carbon takes out"),
    Term("E_C,lead", "lead_carbon_removal_fraction", "share of the chlorine that the lead carbon takes out"),
    Term("e", "salt_balance_closure_fraction", "salt out less salt in, over salt in"),
    Term("C_p0/C_p", "creep_ratio", "TDS of the first minute over that after flushing"),
)
UNIT_TERMS: Final = (
    Term("Y_d", "design_recovery_fraction", "recovery the unit was set up for"),
    Term("V_w", "weekly_demand_l", "product water used in a week"),
    Term("V_t", "tank_volume_l", "volume of the storage tank"),
    Term("P_0", "tank_precharge_kpa", "pressure of the empty tank, gauge"),
    Term("Q_x", "restrictor_flow_l_per_day", "concentrate flow on the label of the restrictor"),
    Term("P_x", "restrictor_pressure_kpa", "pressure of that rating, gauge"),
    Term("C_max", "product_tds_target_mg_per_l", "highest TDS the use allows"),
)
TERMS: Final = (*READING_TERMS, *WATER_TERMS, *INDICATOR_TERMS, *ITEM_TERMS, *UNIT_TERMS)
