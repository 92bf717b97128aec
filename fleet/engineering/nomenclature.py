"""Symbol, name, unit and meaning of every quantity: the names that code, API and log files share."""

from dataclasses import dataclass
from typing import Final

from fleet.engineering.units import QUANTITY_KINDS

# The unit at the end of a derived quantity's name, where it is no stored quantity with a kind of its own.
_SUFFIX_UNITS: Final = (
    ("_mg_per_l", "mg/L"),
    ("_l_per_day", "L/day"),
    ("_l_per_week", "L/week"),
    ("_ml_per_min", "mL/min"),
    ("_kpa", "kPa"),
    ("_fraction", "fraction"),
    ("_l", "L"),
)


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
        return next((unit for suffix, unit in _SUFFIX_UNITS if self.name.endswith(suffix)), "-")


READING_TERMS: Final = (
    Term("P_line", "line_pressure_kpa", "supply pressure before the unit, gauge, while flowing"),
    Term("P_pre", "prefilter_outlet_pressure_kpa", "pressure behind sediment and carbon, gauge"),
    Term("P_f", "inlet_pressure_kpa", "pressure at the membrane inlet, gauge"),
    Term("P_p", "tank_pressure_kpa", "pressure of the storage tank, gauge: back-pressure on the permeate"),
    Term("T", "temperature_degc", "temperature of the feed"),
    Term("C_f", "feed_tds_mg_per_l", "TDS of the feed; all TDS is half the conductivity at 25 degC in uS/cm"),
    Term("C_p", "permeate_tds_mg_per_l", "TDS behind the membrane, before resin, after flushing"),
    Term("C_p0", "permeate_tds_at_start_mg_per_l", "TDS of the permeate in the first minute after standstill"),
    Term("C_lead", "interstage_tds_mg_per_l", "TDS at the outlet of the lead resin"),
    Term("C_prod", "product_tds_mg_per_l", "TDS of the product, behind the last resin"),
    Term("C_c", "concentrate_tds_mg_per_l", "TDS of the concentrate (waste)"),
    Term("Q_p", "permeate_flow_l_per_day", "flow of the permeate"),
    Term("Q_c", "concentrate_flow_l_per_day", "flow of the concentrate to drain"),
    Term("Cl_f,free", "feed_free_chlorine_mg_per_l", "free chlorine in the feed, as Cl2"),
    Term("Cl_f,tot", "feed_total_chlorine_mg_per_l", "total chlorine in the feed, as Cl2"),
    Term("Cl_lead", "interstage_chlorine_mg_per_l", "total chlorine behind the lead carbon, as Cl2"),
    Term("Cl_c,free", "carbon_outlet_free_chlorine_mg_per_l", "free chlorine behind the last carbon, as Cl2"),
    Term("Cl_c,tot", "carbon_outlet_total_chlorine_mg_per_l", "total chlorine behind the last carbon, as Cl2"),
    Term("pH_f", "feed_ph", "pH of the feed"),
    Term("pH_prod", "product_ph", "pH of the product"),
    Term("V", "totaliser_l", "volume counter; the unit says which stream it counts"),
    Term("t", "minutes_since_start", "time the unit had run when it was read"),
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
    Term("V_r", "rated_volume_l", "volume on the label: treated by a sediment or carbon cartridge, held by a tank"),
    Term("V_C", "carbon_volume_l", "bed volume of a carbon cartridge"),
    Term("m_Cl", "chlorine_capacity_g", "chlorine a carbon cartridge takes out in its life, as Cl2"),
    Term(
        "Q_r",
        "rated_flow_l_per_day",
        "flow on the label: permeate of a membrane, at the test condition below; concentrate of a restrictor",
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
    Term("dP", "prefilter_drop_kpa", "P_line - P_pre"),
    Term("dP_n", "normalised_prefilter_drop_kpa", "that drop at the design feed flow and the viscosity of 25 degC"),
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
