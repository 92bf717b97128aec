"""Bridge from the reference checks (quantity, named inputs) to the functions of the engineering room.

A check names its inputs with units of its own (`feed_pressure_psi_gauge`); here they are brought to the house's
units and handed to the function under test. Nothing is computed here, and an input no function takes is refused.
"""

from collections.abc import Callable, Mapping
from typing import Any

from fleet.engineering import units
from fleet.engineering.diagnosis import CONTEXT_KEYS, diagnose
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas import (
    carbon,
    carbonate,
    conductivity,
    electrolytes,
    equivalents,
    expected_flow,
    lead_lag,
    mass_balance,
    normalisation,
    osmotic_pressure,
    resin,
    restrictor,
    scaling,
    sediment,
    tank,
    targets,
    temperature_correction,
    trends,
    uncertainty,
    viscosity,
)
from fleet.engineering.formulas.ions import IONS
from fleet.engineering.sizing import demand

PRESSURE_SUFFIXES = {
    "_psi_gauge": "psi", "_psi": "psi", "_psig": "psi", "_kpa_gauge": "kPa", "_kpa": "kPa", "_bar": "bar",
    "_bar_gauge": "bar", "_mbar": "mbar", "_mpa": "MPa", "_atm": "atm",
}  # fmt: skip
FLOW_SUFFIXES = {
    "_us_gpd": "US gpd", "_l_per_day": "L/day", "_l_per_h": "L/h", "_l_per_min": "L/min", "_ml_per_min": "mL/min",
    "_us_gpm": "US gpm", "_imperial_gpd": "imperial gpd", "_gpd": "gpd", "_gpm": "gpm", "_m3_per_day": "m3/day",
    "_gal_per_day": "gal/day",
}  # fmt: skip
VOLUME_SUFFIXES = {
    "_us_gal": "US gal", "_imperial_gal": "imperial gal", "_l": "L", "_ml": "mL", "_m3": "m3", "_ft3": "ft3",
    "_gal": "gal",
}  # fmt: skip
HARDNESS_SUFFIXES = {
    "_grains_per_us_gal": "gpg", "_gpg": "gpg", "_grains_per_imperial_gal": "Clark", "_clark": "Clark",
    "_clark_degree": "Clark", "_english_degree": "Clark", "_german_degree": "dH", "_dh": "dH", "_dkh": "dH",
    "_french_degree": "fH", "_fh": "fH", "_mmol_per_l_as_ca": "mmol/L", "_mmol_per_l": "mmol/L",
    "_mg_per_l_as_caco3": "mg/L as CaCO3", "_meq_per_l": "meq/L", "_ppm": "ppm", "_mg_per_l": "mg/L",
}  # fmt: skip
TEMPERATURE_SUFFIXES = {"_degc": "degC", "_degf": "degF", "_kelvin": "K", "_k": "K"}
DIFFERENCE_SUFFIXES = {"_degc": "delta_degC", "_degf": "delta_degF", "_kelvin": "K"}


class Inputs:
    """The named inputs of one check; whatever is left over at the end is an input nobody takes."""

    def __init__(self, given: Mapping[str, Any]) -> None:
        self.left = dict(given)

    def take(self, *names: str, default: Any = ...) -> Any:
        for name in names:
            if name in self.left:
                return self.left.pop(name)
        if default is ...:
            raise EngineeringError(names[0], f"The input {names[0]} is missing; given are {', '.join(self.left)}.")
        return default

    def has(self, *names: str) -> bool:
        return any(name in self.left for name in names)

    def unit(self, stem: str, kind: str, suffixes: Mapping[str, str], default: Any = ...) -> Any:
        """Take `stem` with any known unit suffix, in the house's unit."""
        for suffix, unit in suffixes.items():
            if stem + suffix in self.left:
                return units.convert_number(self.left.pop(stem + suffix), unit, kind, field=stem)
        return self.take(stem, default=default)

    def pressure(self, stem: str, default: Any = ...) -> Any:
        return self.unit(stem, "pressure", PRESSURE_SUFFIXES, default)

    def flow(self, stem: str, default: Any = ...) -> Any:
        return self.unit(stem, "flow", FLOW_SUFFIXES, default)

    def tds(self, stem: str, default: Any = ...) -> Any:
        return self.take(f"{stem}_mg_per_l_as_nacl", f"{stem}_mg_per_l", default=default)

    def ions(self, prefix: str = "") -> dict[str, float]:
        return {ion: self.left.pop(f"{prefix}{ion}_mg_per_l") for ion in IONS if f"{prefix}{ion}_mg_per_l" in self.left}

    def finish(self) -> None:
        if self.left:
            name = next(iter(self.left))
            raise EngineeringError(name, f"The input {name} is not one this quantity takes.")


CHECKS: dict[str, Callable[[Inputs], Any]] = {}


def check(*names: str) -> Callable[[Callable[[Inputs], Any]], Callable[[Inputs], Any]]:
    def register(function: Callable[[Inputs], Any]) -> Callable[[Inputs], Any]:
        for name in names:
            CHECKS[name] = function
        return function

    return register


def evaluate(quantity: str, inputs: Mapping[str, Any]) -> Any:
    """Evaluate one check; every input must have been taken, or the check is refused as a wrong call would be."""
    given = Inputs(inputs)
    result = CHECKS[quantity](given)
    given.finish()
    return result


# --- units ---------------------------------------------------------------------------------------------------------


def _convert(stem: str, kind: str, suffixes: Mapping[str, str], target: str) -> Callable[[Inputs], float]:
    return lambda inputs: units.express(inputs.unit(stem, kind, suffixes), target, kind)


CHECKS["volume_l"] = _convert("volume", "volume", VOLUME_SUFFIXES, "L")
CHECKS["volume_us_gal"] = _convert("volume", "volume", VOLUME_SUFFIXES, "US gal")
CHECKS["volume_imperial_gal"] = _convert("volume", "volume", VOLUME_SUFFIXES, "imperial gal")
CHECKS["flow_l_per_day"] = _convert("flow", "flow", FLOW_SUFFIXES, "L/day")
CHECKS["flow_ml_per_min"] = _convert("flow", "flow", FLOW_SUFFIXES, "mL/min")
CHECKS["flow_l_per_min"] = _convert("flow", "flow", FLOW_SUFFIXES, "L/min")
CHECKS["flow_l_per_h"] = _convert("flow", "flow", FLOW_SUFFIXES, "L/h")
CHECKS["flow_us_gpd"] = _convert("flow", "flow", FLOW_SUFFIXES, "US gpd")
CHECKS["pressure_kpa"] = _convert("pressure", "pressure", PRESSURE_SUFFIXES, "kPa")
CHECKS["pressure_bar"] = _convert("pressure", "pressure", PRESSURE_SUFFIXES, "bar")
CHECKS["pressure_psi"] = _convert("pressure", "pressure", PRESSURE_SUFFIXES, "psi")
CHECKS["temperature_degf"] = _convert("temperature", "temperature", TEMPERATURE_SUFFIXES, "degF")
CHECKS["temperature_degc"] = _convert("temperature", "temperature", TEMPERATURE_SUFFIXES, "degC")
CHECKS["temperature_kelvin"] = _convert("temperature", "temperature", TEMPERATURE_SUFFIXES, "K")
CHECKS["temperature_change_degf"] = _convert(
    "temperature_change", "temperature_difference", DIFFERENCE_SUFFIXES, "delta_degF"
)
CHECKS["temperature_change_degc"] = _convert(
    "temperature_change", "temperature_difference", DIFFERENCE_SUFFIXES, "delta_degC"
)


def _as_caco3(inputs: Inputs, stem: str, kind: str, species: tuple[str, ...]) -> float:
    for name in species:
        if inputs.has(f"{name}_mg_per_l_as_ion", f"{name}_mg_per_l"):
            given = inputs.take(f"{name}_mg_per_l_as_ion", f"{name}_mg_per_l")
            return float(equivalents.as_caco3_mg_per_l(name, given))
    return float(inputs.unit(stem, kind, HARDNESS_SUFFIXES))


@check("hardness_mg_per_l_as_caco3")
def _hardness(inputs: Inputs) -> float:
    return _as_caco3(inputs, "hardness", "hardness", ("calcium", "magnesium"))


for _unit_name, _spelling in (
    ("german_degree", "dH"),
    ("french_degree", "fH"),
    ("grains_per_us_gal", "gpg"),
    ("grains_per_imperial_gal", "Clark"),
    ("mmol_per_l_as_ca", "mmol/L"),
):
    CHECKS[f"hardness_{_unit_name}"] = lambda inputs, spelling=_spelling: units.express(
        _hardness(inputs), spelling, "hardness"
    )


@check("alkalinity_mg_per_l_as_caco3")
def _alkalinity(inputs: Inputs) -> float:
    return _as_caco3(inputs, "alkalinity", "alkalinity", ("bicarbonate", "carbonate"))


@check("tds_mg_per_l_as_caco3")
def _tds_as_caco3(inputs: Inputs) -> float:
    return equivalents.as_caco3_mg_per_l("nacl", inputs.take("tds_mg_per_l_as_nacl"))


@check("co2_mg_per_l_as_caco3")
def _co2_as_caco3(inputs: Inputs) -> float:
    return equivalents.as_caco3_mg_per_l("co2", inputs.take("co2_mg_per_l"))


@check("silica_mg_per_l_as_caco3")
def _silica_as_caco3(inputs: Inputs) -> float:
    return resin.load_as_caco3_mg_per_l(
        resin.weak_acid_load_meq_per_l(silica_mg_per_l=inputs.take("silica_mg_per_l_as_sio2", "silica_mg_per_l"))
    )


@check("pressure_kpa_absolute")
def _absolute(inputs: Inputs) -> float:
    return equivalents.absolute_pressure_kpa(
        inputs.pressure("pressure"), inputs.take("atmospheric_kpa_absolute", default=101.325)
    )


@check("capacity_eq_per_l")
def _capacity_per_l(inputs: Inputs) -> float:
    return _exchange_capacity(inputs)


@check("capacity_g_per_l_as_caco3")
def _capacity_grams(inputs: Inputs) -> float:
    return resin.load_as_caco3_mg_per_l(1000.0 * _exchange_capacity(inputs)) / 1000.0


@check("capacity_kilograin_per_ft3_as_caco3")
def _capacity_kilograin(inputs: Inputs) -> float:
    return units.express(_exchange_capacity(inputs), "kgr/ft3", "exchange_capacity")


def _exchange_capacity(inputs: Inputs) -> float:
    suffixes = {"_kilograin_per_ft3_as_caco3": "kgr/ft3", "_kilograin_per_ft3": "kgr/ft3", "_eq_per_l": "eq/L"}
    return float(inputs.unit("capacity", "exchange_capacity", suffixes))


# --- conductivity --------------------------------------------------------------------------------------------------


@check("iso7888_f25")
def _f25(inputs: Inputs) -> float:
    return conductivity.iso7888_f25(inputs.take("temperature_degc"))


@check("conductivity_25_us_per_cm")
def _conductivity_25(inputs: Inputs) -> float:
    if inputs.has("water"):
        water = inputs.take("water")
        if "equilibrated" not in water:
            return electrolytes.pure_water_conductivity_us_per_cm(inputs.take("temperature_degc", default=25.0))
        return electrolytes.air_equilibrated_water_conductivity_us_per_cm()
    if inputs.has("nacl_mg_per_l"):
        _only_25(inputs)
        return electrolytes.nacl_conductivity_us_per_cm(inputs.take("nacl_mg_per_l"))
    if inputs.has("tds_mg_per_l"):
        return conductivity.conductivity_from_tds_us_per_cm(inputs.take("tds_mg_per_l"), _factor(inputs))
    ions = inputs.ions()
    if ions:
        _only_25(inputs)
        inputs.take("ph", default=None)
        return electrolytes.conductivity_of_ions_us_per_cm(**ions)
    options = {}
    if inputs.has("alpha_per_degc"):
        options["alpha_per_degc"] = inputs.take("alpha_per_degc")
    return conductivity.conductivity_25_us_per_cm(
        inputs.take("conductivity_raw_us_per_cm"),
        inputs.take("temperature_degc"),
        compensation=inputs.take("compensation", default="iso7888"),
        meter_already_compensated=inputs.take("meter_already_compensated", default=False),
        **options,
    )


def _only_25(inputs: Inputs) -> None:
    if inputs.take("temperature_degc", default=25) != 25:
        raise EngineeringError("temperature_degc", "This value is known at 25 degC only.")


@check("kcl_standard_us_per_cm")
def _kcl(inputs: Inputs) -> float:
    return electrolytes.kcl_standard_us_per_cm(
        kcl_mol_per_kg=inputs.take("kcl_mol_per_kg", default=None),
        kcl_mol_per_l=inputs.take("kcl_mol_per_l", default=None),
        temperature_degc=inputs.take("temperature_degc", default=25.0),
    )


def _factor(inputs: Inputs) -> float:
    return float(inputs.take("factor_mg_per_l_per_us_per_cm", "tds_factor", "factor", default=0.5))


@check("tds_mg_per_l")
def _tds(inputs: Inputs) -> float:
    cond = inputs.take("conductivity_25_us_per_cm")
    basis = inputs.take("basis", default=None)
    if basis in ("nacl_table", "nacl"):
        return electrolytes.nacl_from_conductivity_mg_per_l(cond)
    if basis in ("mixed_salts_table", "mixed_salts", "kcl_table", "kcl"):
        return electrolytes.tds_by_published_table_mg_per_l(cond, basis.removesuffix("_table"))
    if basis is not None:
        raise EngineeringError("basis", f"{basis!r} is not a known basis.")
    return conductivity.tds_mg_per_l(cond, _factor(inputs))


@check("tds_rebased_mg_per_l")
def _rebased(inputs: Inputs) -> float:
    return conductivity.rebase_tds_mg_per_l(
        inputs.take("tds_mg_per_l"), inputs.take("from_factor"), inputs.take("to_factor")
    )


@check("pure_water_conductivity_us_per_cm")
def _pure(inputs: Inputs) -> float:
    return electrolytes.pure_water_conductivity_us_per_cm(inputs.take("temperature_degc"))


@check("resistivity_mohm_cm")
def _resistivity(inputs: Inputs) -> float:
    return conductivity.resistivity_mohm_cm(inputs.take("conductivity_25_us_per_cm"))


@check("display_zero_conductivity_upper_us_per_cm")
def _display_zero(inputs: Inputs) -> float:
    return conductivity.display_zero_upper_us_per_cm(inputs.take("display_resolution_mg_per_l"), _factor(inputs))


@check("conductivity_rise_us_per_cm")
def _rise(inputs: Inputs) -> float:
    return electrolytes.conductivity_rise_by_co2_us_per_cm(
        nacl_mg_per_l=inputs.take("nacl_mg_per_l", default=0.0),
        nahco3_mg_per_l=inputs.take("nahco3_mg_per_l", default=0.0),
        co2_added_mg_per_l=inputs.take("co2_added_mg_per_l"),
        temperature_degc=inputs.take("temperature_degc", default=25.0),
    )


# --- osmotic pressure and mass balance -----------------------------------------------------------------------------


@check("osmotic_pressure_kpa")
def _osmotic(inputs: Inputs) -> float:
    ions = inputs.ions()
    temperature = inputs.take("temperature_degc")
    model = inputs.take("model", default="astm_d4516")
    if ions:
        if model != "real_solution":
            raise EngineeringError("model", "Ions have an osmotic pressure as a real solution only.")
        return osmotic_pressure.osmotic_pressure_of_ions_kpa(temperature_degc=temperature, **ions)
    return osmotic_pressure.osmotic_pressure_kpa(inputs.tds("tds"), temperature, model=model)


@check("osmotic_pressure_psi")
def _osmotic_psi(inputs: Inputs) -> float:
    return units.express(_osmotic(inputs), "psi", "pressure")


@check("osmotic_pressure_bar")
def _osmotic_bar(inputs: Inputs) -> float:
    return units.express(_osmotic(inputs), "bar", "pressure")


@check("recovery_fraction")
def _recovery(inputs: Inputs) -> float:
    if inputs.has("concentrate_to_permeate_ratio"):
        return mass_balance.recovery_from_waste_ratio(inputs.take("concentrate_to_permeate_ratio"))
    if inputs.has("recovery_percent"):
        raise EngineeringError("recovery_percent", "A recovery is given as a fraction from 0 to 1, not in percent.")
    return mass_balance.recovery_fraction(inputs.flow("permeate_flow"), inputs.flow("concentrate_flow"))


@check("concentrate_to_permeate_ratio")
def _ratio(inputs: Inputs) -> float:
    if inputs.has("recovery_fraction"):
        return mass_balance.waste_ratio(inputs.take("recovery_fraction"))
    return mass_balance.waste_ratio(
        mass_balance.recovery_fraction(inputs.flow("permeate_flow"), inputs.flow("concentrate_flow"))
    )


@check("concentration_factor")
def _concentration_factor(inputs: Inputs) -> float:
    return mass_balance.concentration_factor(
        inputs.take("recovery_fraction"), inputs.take("rejection_fraction", default=1.0)
    )


@check("concentrate_tds_mg_per_l")
def _concentrate_tds(inputs: Inputs) -> float:
    return mass_balance.concentrate_tds_mg_per_l(
        inputs.tds("feed_tds"), inputs.tds("permeate_tds"), inputs.take("recovery_fraction")
    )


@check("feed_brine_log_mean_factor")
def _log_mean(inputs: Inputs) -> float:
    return mass_balance.feed_brine_factor(inputs.take("recovery_fraction"))


@check("feed_brine_arithmetic_factor")
def _arithmetic(inputs: Inputs) -> float:
    return mass_balance.feed_brine_factor(inputs.take("recovery_fraction"), average="arithmetic")


@check("concentration_polarisation_factor")
def _polarisation(inputs: Inputs) -> float:
    return mass_balance.polarisation_factor(inputs.take("recovery_fraction"))


@check("salt_balance_closure_percent")
def _closure(inputs: Inputs) -> float:
    return 100.0 * mass_balance.salt_balance_closure_fraction(
        feed_flow=inputs.flow("feed_flow"),
        feed_tds_mg_per_l=inputs.tds("feed_tds"),
        permeate_flow=inputs.flow("permeate_flow"),
        permeate_tds_mg_per_l=inputs.tds("permeate_tds"),
        concentrate_flow=inputs.flow("concentrate_flow"),
        concentrate_tds_mg_per_l=inputs.tds("concentrate_tds"),
    )


# --- normalisation -------------------------------------------------------------------------------------------------


def _point(given: Mapping[str, Any]) -> normalisation.OperatingPoint:
    inputs = Inputs(given)
    point = _take_point(inputs)
    inputs.finish()
    return point


def _take_point(inputs: Inputs) -> normalisation.OperatingPoint:
    return normalisation.OperatingPoint(
        inlet_pressure_kpa=inputs.pressure("feed_pressure"),
        feed_brine_drop_kpa=inputs.pressure("feed_brine_drop", 0.0),
        permeate_pressure_kpa=inputs.pressure("permeate_pressure", 0.0),
        feed_tds_mg_per_l=inputs.tds("feed_tds"),
        permeate_tds_mg_per_l=inputs.tds("permeate_tds"),
        recovery_fraction=inputs.take("recovery_fraction"),
        temperature_degc=inputs.take("temperature_degc"),
    )


def _tcf_options(inputs: Inputs) -> tuple[float | None, str]:
    """Read the `tcf` (and `u_kelvin`) of a check: two slopes, one slope, or the trade's rule."""
    name = inputs.take("tcf", "method", default="two_slope_2640_3020")
    u_kelvin = inputs.take("u_kelvin", default=None)
    if name in ("two_slope_2640_3020", "two_slope", "arrhenius", "single_slope"):
        return u_kelvin, "arrhenius"
    if name == "3_percent_per_degc":
        return None, name
    digits = "".join(letter for letter in name if letter.isdigit())
    if name.startswith(("u_", "single", "arrhenius_")) and digits:
        return float(digits), "arrhenius"
    raise EngineeringError("tcf", f"{name!r} is not a known temperature correction.")


@check("net_driving_pressure_kpa")
def _ndp(inputs: Inputs) -> float:
    return normalisation.net_driving_pressure_kpa(_take_point(inputs))


@check("net_driving_pressure_psi")
def _ndp_psi(inputs: Inputs) -> float:
    return units.express(_ndp(inputs), "psi", "pressure")


@check("normalised_permeate_flow_l_per_day")
def _normalised_flow(inputs: Inputs) -> float:
    u_kelvin, method = _tcf_options(inputs)
    return normalisation.normalised_permeate_flow_l_per_day(
        inputs.flow("permeate_flow"),
        _point(inputs.take("actual")),
        _point(inputs.take("standard")),
        u_kelvin=u_kelvin,
        tcf_method=method,
    )


@check("salt_passage_fraction", "salt_passage_percent")
def _salt_passage(inputs: Inputs) -> float:
    return normalisation.salt_passage_fraction(*_two_tds(inputs), **_two_factors(inputs))


@check("rejection_fraction")
def _rejection(inputs: Inputs) -> float:
    return normalisation.rejection_fraction(*_two_tds(inputs), **_two_factors(inputs))


CHECKS["rejection_percent"] = lambda inputs: 100.0 * _rejection(inputs)
CHECKS["salt_passage_percent"] = lambda inputs: 100.0 * _salt_passage(inputs)


def _two_tds(inputs: Inputs) -> tuple[float, float]:
    return inputs.tds("feed_tds"), inputs.tds("permeate_tds")


def _two_factors(inputs: Inputs) -> dict[str, float | None]:
    return {
        f"{side}_tds_factor": inputs.take(
            f"{side}_tds_factor",
            f"{side}_factor",
            f"{side}_meter_factor",
            f"{side}_factor_mg_per_l_per_us_per_cm",
            f"{side}_tds_factor_mg_per_l_per_us_per_cm",
            default=None,
        )
        for side in ("feed", "permeate")
    }


@check("rejection_vs_feed_brine_mean_fraction")
def _membrane_rejection(inputs: Inputs) -> float:
    return normalisation.rejection_vs_feed_brine_mean_fraction(*_two_tds(inputs), inputs.take("recovery_fraction"))


@check("normalised_salt_passage_fraction")
def _normalised_salt_passage(inputs: Inputs) -> float:
    options = {}
    if inputs.has("salt_u_kelvin"):
        options["salt_u_kelvin"] = inputs.take("salt_u_kelvin")
    u_kelvin, _ = _tcf_options(inputs)
    return normalisation.normalised_salt_passage_fraction(
        _point(inputs.take("actual")),
        _point(inputs.take("standard")),
        salt_tcf_method=inputs.take("salt_tcf", default="same_as_water"),
        u_kelvin=u_kelvin,
        **options,
    )


@check("salt_passage_ratio")
def _passage_ratio(inputs: Inputs) -> float:
    return normalisation.salt_passage_ratio(inputs.take("ndp_ratio_new_over_old"))


@check("salt_passage_relative_standard_uncertainty")
def _passage_uncertainty(inputs: Inputs) -> float:
    feed, permeate = _two_tds(inputs)
    return uncertainty.ratio_relative_standard_uncertainty(
        permeate,
        feed,
        accuracy_fraction=inputs.take("accuracy_fraction_of_reading", "accuracy_fraction"),
        resolution=inputs.take("resolution_mg_per_l"),
    )


@check("normalised_flow_loss_percent", "flow_loss_percent")
def _flow_loss(inputs: Inputs) -> float:
    return 100.0 * normalisation.flow_loss_fraction(
        inputs.take("baseline_l_per_day"), inputs.take("current_l_per_day", "normalised_l_per_day")
    )


@check("standard_uncertainty_mg_per_l", "reading_standard_uncertainty_mg_per_l")
def _reading_uncertainty(inputs: Inputs) -> float:
    return uncertainty.reading_standard_uncertainty(
        inputs.take("reading_mg_per_l", "tds_mg_per_l"),
        accuracy_fraction=inputs.take("accuracy_fraction_of_reading", "accuracy_fraction"),
        resolution=inputs.take("resolution_mg_per_l", "display_resolution_mg_per_l"),
    )


@check("relative_standard_uncertainty")
def _relative_uncertainty(inputs: Inputs) -> float:
    reading = inputs.left.get("reading_mg_per_l", inputs.left.get("tds_mg_per_l"))
    return _reading_uncertainty(inputs) / reading


@check("flow_loss_fraction")
def _flow_loss_fraction(inputs: Inputs) -> float:
    return _flow_loss(inputs) / 100.0


# --- temperature and viscosity -------------------------------------------------------------------------------------


@check("water_tcf")
def _tcf(inputs: Inputs) -> float:
    u_kelvin, method = _tcf_options(inputs)
    return temperature_correction.water_tcf(inputs.take("temperature_degc"), u_kelvin=u_kelvin, method=method)


@check("salt_tcf")
def _salt_tcf(inputs: Inputs) -> float:
    return temperature_correction.salt_tcf(
        inputs.take("temperature_degc"), u_kelvin=inputs.take("u_kelvin", "salt_u_kelvin", default=5180.0)
    )


@check("normalised_flow_ratio_error")
def _ratio_error(inputs: Inputs) -> float:
    return temperature_correction.normalised_flow_ratio_error(
        inputs.take("temperature_degc"),
        true_u_kelvin=inputs.take("true_u_kelvin"),
        assumed_u_kelvin=inputs.take("assumed_u_kelvin"),
    )


@check("viscosity_ratio_25_over_t")
def _viscosity_ratio(inputs: Inputs) -> float:
    return viscosity.viscosity_ratio_25_over_t(inputs.take("temperature_degc"))


@check("viscosity_mpa_s", "water_viscosity_mpa_s")
def _viscosity(inputs: Inputs) -> float:
    return viscosity.water_viscosity_mpa_s(inputs.take("temperature_degc"))


@check("u_kelvin_from_table_entry")
def _u_from_table(inputs: Inputs) -> float:
    return temperature_correction.u_kelvin_from_table_entry(
        inputs.take("temperature_degc"),
        multiplying_factor=inputs.take("multiplying_factor", default=None),
        dividing_factor=inputs.take("dividing_factor", default=None),
    )


# --- expected flow, restrictor, tank -------------------------------------------------------------------------------


def _rating(inputs: Inputs) -> expected_flow.MembraneRating:
    u_kelvin, method = _tcf_options(inputs)
    return expected_flow.MembraneRating(
        flow_l_per_day=inputs.flow("rated_flow"),
        pressure_kpa=inputs.pressure("rated_pressure"),
        temperature_degc=inputs.take("rated_temperature_degc"),
        tds_mg_per_l=inputs.tds("rated_tds"),
        recovery_fraction=inputs.take("rated_recovery_fraction"),
        rejection_fraction=inputs.take("rejection_fraction"),
        u_kelvin=u_kelvin,
        tcf_method=method,
    )


def _site(inputs: Inputs) -> dict[str, float]:
    return {
        "pressure_kpa": inputs.pressure("pressure"),
        "permeate_pressure_kpa": inputs.pressure("permeate_pressure", 0.0),
        "temperature_degc": inputs.take("temperature_degc"),
        "tds_mg_per_l": inputs.tds("tds"),
    }


@check("expected_permeate_flow_l_per_day")
def _expected_flow(inputs: Inputs) -> float:
    return expected_flow.expected_permeate_flow_l_per_day(
        _rating(inputs), recovery_fraction=inputs.take("recovery_fraction"), **_site(inputs)
    )


@check("expected_recovery_fraction")
def _expected_recovery(inputs: Inputs) -> float:
    return expected_flow.expected_recovery_fraction(
        _rating(inputs), concentrate_flow_l_per_day=inputs.flow("concentrate_flow"), **_site(inputs)
    )


@check("restrictor_flow_ml_per_min")
def _restrictor(inputs: Inputs) -> float:
    if inputs.has("concentrate_to_permeate_ratio"):
        flow = inputs.flow("membrane_flow", None)
        if flow is None:
            flow = inputs.flow("permeate_flow")
        return restrictor.restrictor_size_ml_per_min(flow, inputs.take("concentrate_to_permeate_ratio"))
    return restrictor.restrictor_flow(
        inputs.take("rated_flow_ml_per_min"),
        rated_pressure=inputs.pressure("rated_pressure"),
        pressure=inputs.pressure("pressure"),
        restrictor_type=inputs.take("type", "restrictor_type", default=None),
        rated_temperature_degc=inputs.take("rated_temperature_degc", default=25.0),
        temperature_degc=inputs.take("temperature_degc", default=25.0),
    )


@check("tank_water_volume_l")
def _tank(inputs: Inputs) -> float:
    return tank.tank_water_volume_l(
        inputs.take("tank_total_volume_l"),
        precharge_pressure_kpa=inputs.pressure("precharge"),
        tank_pressure_kpa=inputs.pressure("tank_pressure"),
        atmospheric_kpa_absolute=inputs.take("atmospheric_kpa_absolute", default=101.325),
    )


@check("tank_fill_time_multiple_of_unpressurised")
def _fill_time(inputs: Inputs) -> float:
    inputs.take("tank_total_volume_l", default=None)
    return tank.tank_fill_time_multiple(
        precharge_pressure_kpa=inputs.pressure("precharge"),
        shutoff_pressure_kpa=inputs.pressure("shutoff"),
        net_driving_pressure_at_zero_kpa=inputs.pressure("ndp_at_zero_tank_pressure"),
        atmospheric_kpa_absolute=inputs.take("atmospheric_kpa_absolute", default=101.325),
    )


@check("shutoff_tank_pressure_psi")
def _shutoff(inputs: Inputs) -> float:
    return units.express(
        tank.shutoff_tank_pressure_kpa(
            inputs.pressure("line_pressure"), inputs.take("shutoff_fraction", default=2.0 / 3.0)
        ),
        "psi",
        "pressure",
    )


@check("standstill_tds_mg_per_l")
def _standstill(inputs: Inputs) -> float:
    return tank.standstill_tds_mg_per_l(
        initial_tds_mg_per_l=inputs.tds("initial_tds"),
        steady_tds_mg_per_l=inputs.tds("steady_tds"),
        flushed_volume_l=inputs.take("flushed_volume_l"),
        holdup_volume_l=inputs.take("holdup_volume_l"),
    )


# --- sediment ------------------------------------------------------------------------------------------------------


def _stem(inputs: Inputs, stem: str) -> float:
    """Take a pressure in whatever unit it came in: a ratio of pressures has none."""
    return float(inputs.take(f"{stem}_psi", f"{stem}_kpa", f"{stem}_bar", f"{stem}_psi_gauge"))


# Names of the laws in the textbooks, where they differ from the house's.
LAW_NAMES = {
    "intermediate_blocking": "intermediate", "exponential": "intermediate", "cake_filtration": "cake",
    "linear": "cake", "complete": "complete_blocking", "hyperbolic": "complete_blocking",
    "standard": "standard_blocking",
}  # fmt: skip


def _law(inputs: Inputs, **options: Any) -> str:
    law = inputs.take("law", **options)
    return LAW_NAMES.get(law, law)


@check("dp_psi", "dp_kpa", "dp_bar")
def _dp(inputs: Inputs) -> float:
    return sediment.pressure_drop(
        _stem(inputs, "clean_dp"),
        inputs.take("throughput_l"),
        law=_law(inputs),
        rate_per_l=inputs.take("rate_per_l", default=None),
        limit_throughput_l=inputs.take("limit_throughput_l", default=None),
    )


@check("normalised_dp_psi", "normalised_dp_kpa")
def _normalised_dp(inputs: Inputs) -> float:
    return sediment.normalised_drop(
        _stem(inputs, "dp"),
        flow=inputs.flow("flow"),
        reference_flow=inputs.flow("reference_flow"),
        temperature_degc=inputs.take("temperature_degc"),
        reference_temperature_degc=inputs.take("reference_temperature_degc", default=25.0),
        flow_exponent=inputs.take("flow_exponent", default=1.0),
    )


@check("normalised_feed_brine_dp_psi", "normalised_feed_brine_dp_kpa")
def _normalised_brine_dp(inputs: Inputs) -> float:
    if inputs.take("law", default="flow_power_1.5_and_0.017_per_degc") != "flow_power_1.5_and_0.017_per_degc":
        raise EngineeringError("law", "This drop follows one law only.")
    return sediment.normalised_feed_brine_drop(
        _stem(inputs, "dp"),
        feed_brine_flow=inputs.flow("feed_brine_flow"),
        reference_flow=inputs.flow("reference_flow"),
        temperature_degc=inputs.take("temperature_degc"),
    )


@check("throughput_at_limit_l")
def _throughput_at_limit(inputs: Inputs) -> float:
    return sediment.throughput_at_limit_l(
        throughput_1_l=inputs.take("throughput_1_l"),
        drop_1=_stem(inputs, "dp_1"),
        throughput_2_l=inputs.take("throughput_2_l"),
        drop_2=_stem(inputs, "dp_2"),
        limit_drop=_stem(inputs, "limit_dp"),
        law=_law(inputs, default="intermediate"),
    )


@check("prefilter_dp_psi", "prefilter_dp_kpa")
def _prefilter(inputs: Inputs) -> float:
    return sediment.prefilter_drop(
        _stem(inputs, "membrane_inlet_static"),
        _stem(inputs, "membrane_inlet_flowing"),
        supply_sag=inputs.take("supply_flowing_sag_psi", "supply_flowing_sag_kpa", default=0.0),
    )


@check("sdi_per_min")
def _sdi(inputs: Inputs) -> float:
    return sediment.silt_density_index_per_min(
        inputs.take("t_initial_s"), inputs.take("t_final_s"), inputs.take("elapsed_min")
    )


@check("sdi_largest_valid_per_min")
def _largest_sdi(inputs: Inputs) -> float:
    return sediment.largest_valid_sdi_per_min(
        inputs.take("elapsed_min"), inputs.take("max_plugging_percent", default=75.0)
    )


# --- carbon --------------------------------------------------------------------------------------------------------


@check("feed_volume_l")
def _feed_volume(inputs: Inputs) -> float:
    return mass_balance.feed_volume_l(inputs.take("permeate_volume_l"), inputs.take("recovery_fraction"))


def _chlorine(inputs: Inputs) -> float:
    return inputs.take(
        "free_chlorine_mg_per_l_as_cl2",
        "total_chlorine_mg_per_l_as_cl2",
        "chlorine_mg_per_l_as_cl2",
        "chlorine_mg_per_l",
        "free_chlorine_mg_per_l",
        "total_chlorine_mg_per_l",
    )


@check("chlorine_mass_g_as_cl2")
def _chlorine_mass(inputs: Inputs) -> float:
    return carbon.chlorine_mass_g(inputs.take("feed_volume_l"), _chlorine(inputs))


@check("chlorine_capacity_g_as_cl2")
def _chlorine_capacity(inputs: Inputs) -> float:
    return carbon.chlorine_capacity_g(
        inputs.unit("rated_volume", "volume", VOLUME_SUFFIXES), inputs.take("rated_chlorine_mg_per_l")
    )


@check("permeate_volume_at_capacity_l")
def _permeate_at_capacity(inputs: Inputs) -> float:
    return carbon.permeate_volume_at_capacity_l(
        inputs.take("capacity_g_as_cl2"), _chlorine(inputs), inputs.take("recovery_fraction")
    )


@check("feed_volume_at_capacity_l")
def _feed_at_capacity(inputs: Inputs) -> float:
    return carbon.feed_volume_at_capacity_l(inputs.take("capacity_g_as_cl2"), _chlorine(inputs))


@check("ebct_s")
def _ebct(inputs: Inputs) -> float:
    flow = inputs.flow("feed_flow", None)
    flow = inputs.flow("flow") if flow is None else flow
    return carbon.empty_bed_contact_time_s(
        inputs.take("bed_volume_l", "carbon_volume_l"), units.express(flow, "L/min", "flow")
    )


@check("ebct_min")
def _ebct_min(inputs: Inputs) -> float:
    return _ebct(inputs) / 60.0


@check("effluent_chlorine_mg_per_l")
def _effluent(inputs: Inputs) -> float:
    influent = inputs.take("influent_mg_per_l")
    if inputs.has("rate_per_s", "dechlorination_rate_per_s"):
        given = inputs.take("rate_per_s", "dechlorination_rate_per_s")
        return carbon.effluent_chlorine_mg_per_l(influent, given, inputs.take("ebct_s"))
    rate = carbon.dechlorination_rate_per_s(
        influent, inputs.take("effluent_known_mg_per_l"), inputs.take("ebct_known_s")
    )
    return carbon.effluent_chlorine_mg_per_l(influent, rate, inputs.take("ebct_s"))


@check("dechlorination_rate_per_s")
def _rate(inputs: Inputs) -> float:
    return carbon.dechlorination_rate_per_s(
        inputs.take("influent_mg_per_l"), inputs.take("effluent_mg_per_l"), inputs.take("ebct_s")
    )


@check("alkalinity_consumed_mg_per_l_as_caco3")
def _alkalinity_consumed(inputs: Inputs) -> float:
    return carbon.alkalinity_consumed_mg_per_l_as_caco3(inputs.take("free_chlorine_removed_mg_per_l_as_cl2"))


@check("ammonium_released_meq_per_l")
def _ammonium(inputs: Inputs) -> float:
    return carbon.ammonium_released_meq_per_l(inputs.take("monochloramine_mg_per_l_as_cl2"))


@check("membrane_exposure_ppm_h")
def _exposure(inputs: Inputs) -> float:
    return carbon.membrane_exposure_ppm_h(_chlorine(inputs), inputs.take("hours_per_day"), inputs.take("days"))


@check("hours_to_exposure_limit")
def _hours_to_limit(inputs: Inputs) -> float:
    return carbon.hours_to_exposure_limit(_chlorine(inputs), inputs.take("exposure_limit_ppm_h"))


@check("days_to_exposure_limit")
def _days_to_limit(inputs: Inputs) -> float:
    return carbon.days_to_exposure_limit(
        _chlorine(inputs), inputs.take("exposure_limit_ppm_h"), inputs.take("hours_per_day")
    )


@check("chlorine_removed_mg_per_l")
def _removed(inputs: Inputs) -> float:
    return carbon.chlorine_removed_mg_per_l(inputs.take("influent_mg_per_l"), inputs.take("effluent_mg_per_l"))


@check("total_chlorine_mg_per_l")
def _total(inputs: Inputs) -> float:
    if inputs.has("test_result", "reading"):
        return carbon.chlorine_test_result_mg_per_l(inputs.take("test_result", "reading"))
    return carbon.total_chlorine_mg_per_l(inputs.take("free_mg_per_l"), inputs.take("total_mg_per_l"))


@check("free_chlorine_mg_per_l")
def _free(inputs: Inputs) -> float:
    return carbon.chlorine_test_result_mg_per_l(inputs.take("test_result", "reading"))


@check("combined_chlorine_mg_per_l")
def _combined(inputs: Inputs) -> float:
    return carbon.combined_chlorine_mg_per_l(inputs.take("free_mg_per_l"), inputs.take("total_mg_per_l"))


# --- scaling -------------------------------------------------------------------------------------------------------


@check("langelier_index")
def _lsi(inputs: Inputs) -> float:
    return scaling.langelier_index(
        ph=inputs.take("ph"),
        calcium_mg_per_l_as_caco3=inputs.take("calcium_mg_per_l_as_caco3"),
        alkalinity_mg_per_l_as_caco3=inputs.take("alkalinity_mg_per_l_as_caco3"),
        tds_mg_per_l=inputs.take("tds_mg_per_l"),
        temperature_degc=inputs.take("temperature_degc"),
        method=inputs.take("method", default="standard_methods_2330"),
    )


def _feed_water(inputs: Inputs) -> dict[str, float]:
    return {
        "feed_ph": inputs.take("feed_ph"),
        "feed_alkalinity_mg_per_l_as_caco3": inputs.take("feed_alkalinity_mg_per_l_as_caco3"),
        "feed_tds_mg_per_l": inputs.take("feed_tds_mg_per_l"),
        "temperature_degc": inputs.take("temperature_degc"),
        "recovery_fraction": inputs.take("recovery_fraction"),
    }


@check("concentrate_ph")
def _concentrate_ph(inputs: Inputs) -> float:
    return scaling.concentrate_ph(**_feed_water(inputs))


@check("concentrate_langelier_index")
def _concentrate_lsi(inputs: Inputs) -> float:
    return scaling.concentrate_langelier_index(
        feed_calcium_mg_per_l_as_caco3=inputs.take("feed_calcium_mg_per_l_as_caco3"), **_feed_water(inputs)
    )


@check("scaling_verdict")
def _verdict(inputs: Inputs) -> str:
    return scaling.scaling_verdict(
        inputs.take("concentrate_langelier_index", "concentrate_lsi", "lsi_c", "langelier_index")
    ).code


@check("pks_calcite")
def _pks(inputs: Inputs) -> float:
    return scaling.pks_calcite(inputs.take("temperature_degc"))


@check("amorphous_silica_solubility_mg_per_l")
def _silica(inputs: Inputs) -> float:
    return scaling.amorphous_silica_solubility_mg_per_l(
        inputs.take("temperature_degc"), inputs.take("ph", default=None)
    )


@check("max_recovery_by_silica_fraction")
def _silica_recovery(inputs: Inputs) -> float:
    return scaling.max_recovery_by_silica_fraction(
        inputs.take("feed_silica_mg_per_l"), inputs.take("temperature_degc"), ph=inputs.take("ph", default=None)
    )


@check("gypsum_solubility_mg_per_l_as_caso4")
def _gypsum(inputs: Inputs) -> float:
    return scaling.gypsum_solubility_mg_per_l_as_caso4(inputs.take("temperature_degc"))


@check("concentrate_gypsum_saturation_index")
def _gypsum_index(inputs: Inputs) -> float:
    return scaling.concentrate_gypsum_saturation_index(
        temperature_degc=inputs.take("temperature_degc"),
        recovery_fraction=inputs.take("recovery_fraction"),
        **inputs.ions("feed_"),
    )


@check("ionic_strength_mol_per_l")
def _ionic_strength(inputs: Inputs) -> float:
    return carbonate.ionic_strength_from_tds_mol_per_l(inputs.take("tds_mg_per_l"))


# --- resin ---------------------------------------------------------------------------------------------------------


@check("load_meq_per_l")
def _load(inputs: Inputs) -> float:
    ionic = resin.ionic_load_meq_per_l(inputs.tds("tds", 0.0))
    return ionic + resin.weak_acid_load_meq_per_l(
        co2_mg_per_l=inputs.take("co2_mg_per_l", "co2_mg_per_l_as_co2", default=0.0),
        silica_mg_per_l=inputs.take("silica_mg_per_l_as_sio2", "silica_mg_per_l", default=0.0),
    )


@check("load_anion_meq_per_l", "anion_load_meq_per_l")
def _anion_load(inputs: Inputs) -> float:
    return _load(inputs)


@check("load_cation_meq_per_l", "cation_load_meq_per_l")
def _cation_load(inputs: Inputs) -> float:
    return resin.governing_load_meq_per_l(
        resin.ionic_load_meq_per_l(inputs.tds("tds", 0.0)),
        ammonium_meq_per_l=inputs.take("ammonium_meq_per_l", default=0.0),
    )


@check("load_mg_per_l_as_caco3")
def _load_as_caco3(inputs: Inputs) -> float:
    return resin.load_as_caco3_mg_per_l(_load(inputs))


@check("capacity_eq")
def _capacity(inputs: Inputs) -> float:
    return resin.capacity_eq(inputs.take("resin_volume_l"), _exchange_capacity(inputs))


@check("service_volume_l")
def _service_volume(inputs: Inputs) -> float:
    capacity = inputs.take("capacity_eq")
    load = resin.governing_load_meq_per_l(
        inputs.take("ionic_load_meq_per_l"),
        co2_mg_per_l=inputs.take("co2_mg_per_l", default=0.0),
        silica_mg_per_l=inputs.take("silica_mg_per_l", default=0.0),
        ammonium_meq_per_l=inputs.take("ammonium_meq_per_l", default=0.0),
    )
    return resin.service_volume_l(capacity, load)


@check("co2_mg_per_l")
def _co2(inputs: Inputs) -> float:
    method = inputs.take("method", default=None)
    if method == "hobby_3_kh_rule":
        inputs.take("temperature_degc", default=None)
        return carbonate.co2_by_hobby_rule_mg_per_l(inputs.take("kh_german_degree"), inputs.take("ph"))
    if method is not None:
        raise EngineeringError("method", f"{method!r} is not a known method.")
    return carbonate.co2_mg_per_l(
        ph=inputs.take("ph"),
        alkalinity_mg_per_l_as_caco3=inputs.take("alkalinity_mg_per_l_as_caco3"),
        temperature_degc=inputs.take("temperature_degc"),
        tds_mg_per_l=inputs.take("tds_mg_per_l"),
        calcium_mg_per_l_as_caco3=inputs.take("calcium_mg_per_l_as_caco3", "hardness_mg_per_l_as_caco3", default=0.0),
        magnesium_mg_per_l_as_caco3=inputs.take("magnesium_mg_per_l_as_caco3", default=0.0),
    )


@check("pk1_carbonic")
def _pk1(inputs: Inputs) -> float:
    return carbonate.pk1_carbonic(inputs.take("temperature_degc"))


@check("pk2_carbonic")
def _pk2(inputs: Inputs) -> float:
    return carbonate.pk2_carbonic(inputs.take("temperature_degc"))


@check("permeate_ph")
def _permeate_ph(inputs: Inputs) -> float:
    return carbonate.permeate_ph(
        permeate_bicarbonate_mg_per_l=inputs.take("permeate_bicarbonate_mg_per_l"),
        permeate_co2_mg_per_l=inputs.take("permeate_co2_mg_per_l"),
        temperature_degc=inputs.take("temperature_degc"),
    )


@check("throughput_at_breakthrough_bed_capacities")
def _breakthrough(inputs: Inputs) -> float:
    return resin.throughput_at_breakthrough(
        inputs.take("transfer_units"),
        inputs.take("outlet_fraction"),
        inputs.take("beds_in_series_fresh", default=1.0),
    )


@check("capacity_used_at_breakthrough_fraction")
def _used(inputs: Inputs) -> float:
    return resin.capacity_used_fraction(
        inputs.take("transfer_units"),
        inputs.take("outlet_fraction"),
        inputs.take("beds_in_series_fresh", "beds_in_series", default=1.0),
    )


@check("outlet_fraction")
def _outlet(inputs: Inputs) -> float:
    return resin.outlet_fraction(
        inputs.take("transfer_units"),
        inputs.take("throughput_bed_capacities"),
        inputs.take("beds_in_series_fresh", default=1.0),
    )


@check("lead_lag_steady_throughput_per_cartridge_bed_capacities")
def _steady(inputs: Inputs) -> float:
    return lead_lag.steady_throughput_capacities(
        inputs.take("transfer_units_per_cartridge"),
        lead_outlet_fraction_at_rotation=inputs.take("lead_outlet_fraction_at_rotation"),
    )


@check("lead_lag_first_cycle_throughput_bed_capacities")
def _first_cycle(inputs: Inputs) -> float:
    return lead_lag.first_throughput_capacities(
        inputs.take("transfer_units_per_cartridge"),
        lead_outlet_fraction_at_rotation=inputs.take("lead_outlet_fraction_at_rotation"),
    )


@check("min_transfer_units_for_lead_lag")
def _min_units(inputs: Inputs) -> float:
    return lead_lag.min_transfer_units(
        lead_outlet_fraction_at_rotation=inputs.take("lead_outlet_fraction_at_rotation"),
        product_limit_fraction=inputs.take("product_limit_fraction"),
    )


@check("transfer_units")
def _transfer_units(inputs: Inputs) -> float:
    return resin.transfer_units_from_readings(
        outlet_fraction_1=inputs.take("outlet_fraction_1"),
        throughput_1_capacities=inputs.take("throughput_1_bed_capacities"),
        outlet_fraction_2=inputs.take("outlet_fraction_2"),
        throughput_2_capacities=inputs.take("throughput_2_bed_capacities"),
    )


@check("exhausted_fraction_by_tds", "product_over_permeate_fraction", "lead_outlet_over_permeate_fraction")
def _exhausted(inputs: Inputs) -> float:
    return resin.exhausted_fraction_by_tds(
        inputs.tds("permeate_tds"),
        inputs.take("product_tds_mg_per_l", "lead_outlet_tds_mg_per_l", "outlet_tds_mg_per_l"),
        resolution_mg_per_l=inputs.take("resolution_mg_per_l", "display_resolution_mg_per_l", default=0.0),
    )


CHECKS["unused_capacity_at_breakthrough_fraction"] = lambda inputs: 1.0 - _used(inputs)
CHECKS["unused_capacity_fraction"] = CHECKS["unused_capacity_at_breakthrough_fraction"]
CHECKS["unused_capacity_bed_capacities"] = CHECKS["unused_capacity_at_breakthrough_fraction"]


@check("lead_lag_product_fraction_at_rotation", "lead_lag_product_over_permeate_fraction")
def _product_at_rotation(inputs: Inputs) -> float:
    n = inputs.take("transfer_units_per_cartridge")
    limit = inputs.take("lead_outlet_fraction_at_rotation")
    remaining = 1.0
    for _ in range(100):
        cycle = lead_lag.rotation(n, remaining, lead_outlet_fraction_at_rotation=limit)
        remaining = cycle.carried_capacities
    return float(cycle.product_fraction)


@check("lead_lag_gain_over_single_bed")
def _gain(inputs: Inputs) -> float:
    return lead_lag.gain_over_single_bed(
        inputs.take("transfer_units_per_cartridge"),
        single_bed_fraction=inputs.take("single_bed_outlet_fraction", default=0.01),
        lead_outlet_fraction_at_rotation=inputs.take("lead_outlet_fraction_at_rotation"),
    )


# --- targets -------------------------------------------------------------------------------------------------------


@check("iso3696_max_conductivity_us_per_cm")
def _iso3696(inputs: Inputs) -> float:
    return targets.iso3696_max_conductivity_us_per_cm(inputs.take("grade"))


@check("astm_d1193_max_conductivity_us_per_cm")
def _astm(inputs: Inputs) -> float:
    return targets.astm_d1193_max_conductivity_us_per_cm(inputs.take("type"))


@check("astm_d1193_max_toc_ug_per_l")
def _astm_toc(inputs: Inputs) -> float:
    return targets.astm_d1193_max_toc_ug_per_l(inputs.take("type"))


@check("astm_d1193_max_silica_ug_per_l")
def _astm_silica(inputs: Inputs) -> float:
    return targets.astm_d1193_max_silica_ug_per_l(inputs.take("type"))


@check("us_secondary_level_mg_per_l")
def _secondary(inputs: Inputs) -> float:
    return targets.us_secondary_level_mg_per_l(inputs.take("parameter"))


@check("us_mrdl_mg_per_l_as_cl2", "us_mrdl_mg_per_l")
def _mrdl(inputs: Inputs) -> float:
    return targets.us_mrdl_mg_per_l(inputs.take("disinfectant"))


@check("who_palatability_class")
def _palatability(inputs: Inputs) -> str:
    return targets.who_palatability_class(inputs.take("tds_mg_per_l"))


@check("coffee_brew_water_tds_target_mg_per_l")
def _coffee(inputs: Inputs) -> float:
    return targets.coffee_tds_target_mg_per_l(inputs.take("scale"))


@check("meter_reading_mg_per_l")
def _meter_reading(inputs: Inputs) -> float:
    return targets.meter_reading_mg_per_l(
        inputs.take("tds_mg_per_l"), inputs.take("tds_factor"), inputs.take("meter_factor")
    )


@check("us_lead_action_level_ug_per_l")
def _lead(inputs: Inputs) -> float:
    return targets.us_lead_action_level_ug_per_l(inputs.take("date"))


WEEKLY = ("demand_l_per_week", "weekly_demand_l", "permeate_l_per_week", "product_l_per_week")

# --- sizing --------------------------------------------------------------------------------------------------------


@check("run_hours_per_day")
def _run_hours(inputs: Inputs) -> float:
    return demand.run_hours_per_day(inputs.take(*WEEKLY), inputs.flow("permeate_flow"))


@check("wastewater_l_per_week")
def _waste(inputs: Inputs) -> float:
    return demand.wastewater_l_per_week(inputs.take(*WEEKLY), inputs.take("recovery_fraction"))


@check("feed_l_per_week")
def _feed_per_week(inputs: Inputs) -> float:
    return demand.feed_l_per_week(inputs.take(*WEEKLY), inputs.take("recovery_fraction"))


@check("required_membrane_flow_l_per_day")
def _required(inputs: Inputs) -> float:
    return demand.required_membrane_flow_l_per_day(
        inputs.take(*WEEKLY),
        max_run_hours_per_day=inputs.take("max_run_hours_per_day", "run_hours_per_day"),
        derate_fraction=inputs.take("derate_fraction", default=1.0),
    )


@check("tank_usable_volume_l")
def _tank_usable(inputs: Inputs) -> float:
    return demand.tank_usable_volume_l(
        inputs.take("peak_draw_l"), inputs.flow("permeate_flow"), inputs.take("draw_window_h")
    )


@check("reef_weekly_demand_l")
def _reef(inputs: Inputs) -> float:
    return demand.reef_weekly_demand_l(
        inputs.take("tank_volume_l"),
        water_change_fraction_per_week=inputs.take("water_change_fraction_per_week"),
        evaporation_fraction_per_day=inputs.take("evaporation_fraction_per_day", default=0.01),
    )


@check("flush_water_l_per_week")
def _flush(inputs: Inputs) -> float:
    return demand.flush_water_l_per_week(inputs.take("starts_per_day"), inputs.take("flush_l_per_start"))


# --- forecast formulas ---------------------------------------------------------------------------------------------


@check("days_to_exhaustion")
def _days_left(inputs: Inputs) -> float:
    return trends.days_to_exhaustion(
        inputs.take("capacity_l", "capacity_g", "capacity_eq"),
        inputs.take("used_l", "used_g", "used_eq"),
        inputs.take("permeate_l_per_day", "feed_l_per_day", "use_per_day", "g_per_day"),
    )


def _first_limit(inputs: Inputs) -> tuple[float, str]:
    days, driver = trends.days_to_change(
        age_days=inputs.take("age_days", default=0.0),
        time_cap_days=inputs.take("time_cap_days", default=None),
        capacity_days=inputs.take("capacity_days", default=None),
        pressure_days=inputs.take("pressure_days", default=None),
        breakthrough_days=inputs.take("breakthrough_days", default=None),
    )
    return float(days), str(driver)


CHECKS["days_to_change"] = lambda inputs: _first_limit(inputs)[0]
CHECKS["binding_driver"] = lambda inputs: _first_limit(inputs)[1]


def _posterior(inputs: Inputs) -> tuple[float, float]:
    return trends.posterior_capacity(
        inputs.take("prior_median_l"),
        observed_lives=inputs.take("observed_lives_l", default=()),
        censored_lives=inputs.take(
            "censored_lives_l",
            "right_censored_lives_l",
            "right_censored_l",
            "right_censored",
            "censored_l",
            "early_changed_lives_l",
            default=(),
        ),
        prior_log_sd=inputs.take("prior_log_sd"),
        observation_log_sd=inputs.take("observation_log_sd"),
    )


CHECKS["posterior_median_capacity_l"] = lambda inputs: _posterior(inputs)[0]
CHECKS["posterior_log_sd"] = lambda inputs: _posterior(inputs)[1]


@check("theil_sen_slope_l_per_day_per_day")
def _slope(inputs: Inputs) -> float:
    return trends.theil_sen_slope(
        inputs.take("days"), inputs.take("normalised_flow_l_per_day", "values", "flow_l_per_day")
    )


# --- diagnosis -----------------------------------------------------------------------------------------------------

# Names of facts in the checks, without their unit, where they differ from the house's.
FACT_NAMES = {
    "membrane_inlet_static": "static_inlet_pressure_kpa",
    "membrane_inlet_flowing": "inlet_pressure_kpa",
    "membrane_inlet": "inlet_pressure_kpa",
    "line_flowing": "line_pressure_kpa",
    "line": "line_pressure_kpa",
    "static": "static_inlet_pressure_kpa",
    "inlet_static": "static_inlet_pressure_kpa",
    "flowing": "inlet_pressure_kpa",
    "inlet_flowing": "inlet_pressure_kpa",
    "line_static": "static_inlet_pressure_kpa",
    "baseline_static": "baseline_line_pressure_kpa",
    "tank": "tank_pressure_kpa",
    "clean_prefilter_dp": "clean_prefilter_drop_kpa",
    "prefilter_dp": "prefilter_drop_kpa",
    "prefilter_outlet": "prefilter_outlet_pressure_kpa",
    "baseline_line": "baseline_line_pressure_kpa",
    "baseline_membrane_inlet": "baseline_inlet_pressure_kpa",
    "total_chlorine_after_carbon_mg_per_l": "carbon_outlet_total_chlorine_mg_per_l",
    "free_chlorine_after_carbon_mg_per_l": "carbon_outlet_free_chlorine_mg_per_l",
    "chlorine_after_carbon_mg_per_l": "carbon_outlet_total_chlorine_mg_per_l",
    "lead_outlet_tds_mg_per_l": "interstage_tds_mg_per_l",
    "lead_out_tds_mg_per_l": "interstage_tds_mg_per_l",
    "di_lead_outlet_tds_mg_per_l": "interstage_tds_mg_per_l",
    "first_minute_permeate_tds_mg_per_l": "permeate_tds_at_start_mg_per_l",
    "permeate_tds_first_minute_mg_per_l": "permeate_tds_at_start_mg_per_l",
    "permeate_tds_after_flush_mg_per_l": "permeate_tds_mg_per_l",
    "normalised_permeate_flow_ratio": "normalised_flow_ratio",
    "feed_temperature_degc": "temperature_degc",
    "water_temperature_degc": "temperature_degc",
    "salt_balance_closure": "salt_balance_closure_fraction",
    "concentrate_lsi": "concentrate_langelier_index",
    "lsi_concentrate": "concentrate_langelier_index",
    "lsi_c": "concentrate_langelier_index",
    "ratio": "waste_ratio",
}
# Names by the words in them: all of the first, and one of the second where there is one.
FACT_WORDS: tuple[tuple[set[str], set[str], str], ...] = (
    ({"tank"}, {"falls", "falling", "fall", "drops", "drop", "loses"}, "tank_pressure_falls_with_feed_shut"),
    ({"full"}, {"concentrate", "drain", "waste"}, "concentrate_is_running_with_full_tank"),
    ({"never"}, {"concentrate", "drain", "waste"}, "concentrate_never_stops"),
    ({"pump"}, {"never"}, "pump_never_stops"),
    ({"tank", "full"}, set(), "tank_is_full"),
    ({"tank", "after", "shut"}, set(), "tank_pressure_after_feed_shut_kpa"),
    ({"ratio", "baseline"}, {"concentrate", "waste", "ratio"}, "baseline_waste_ratio"),
    ({"ratio", "design"}, {"concentrate", "waste", "ratio"}, "baseline_waste_ratio"),
    ({"ratio"}, {"concentrate", "waste"}, "waste_ratio"),
    ({"concentrate"}, {"continuously", "always"}, "concentrate_never_stops"),
    ({"concentrate"}, {"runs", "running", "flowing", "flows"}, "concentrate_is_running"),
    ({"drain"}, {"runs", "running", "flowing", "flows"}, "concentrate_is_running"),
)


def _fact(name: str, value: Any) -> tuple[str, Any]:
    """Bring one fact of a check to the house's name and unit."""
    for suffixes, kind, unit_name in (
        (PRESSURE_SUFFIXES, "pressure", "_kpa"),
        (FLOW_SUFFIXES, "flow", "_l_per_day"),
    ):
        for suffix, unit in suffixes.items():
            if name.endswith(suffix) and not isinstance(value, bool):
                value = units.convert_number(value, unit, kind, field=name)
                stem = name.removesuffix(suffix)
                candidates = (stem + unit_name, f"{stem}_pressure{unit_name}")
                known = next((candidate for candidate in candidates if candidate in CONTEXT_KEYS), None)
                return FACT_NAMES.get(stem) or known or FACT_NAMES.get(stem.removesuffix("_pressure")) or stem, value
    if name.endswith("_percent"):
        name, value = f"{name.removesuffix('percent')}fraction", value / 100.0
    if name in CONTEXT_KEYS:
        return name, value
    if name in FACT_NAMES:
        return FACT_NAMES[name], value
    words = set(name.split("_"))
    for needed, one_of, fact in FACT_WORDS:
        if needed <= words and (not one_of or one_of & words):
            return fact, value
    return name, value


def _spoken(name: str, value: Any) -> dict[str, Any]:
    """Say in the house's facts what a check says in one: a ratio of two, the opposite of one, or a word for it."""
    words = set(name.split("_"))
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and {"tank", "line"} <= words and words & {"ratio", "over", "fraction"}:
        return {"tank_pressure_kpa": 300.0 * value, "line_pressure_kpa": 300.0}
    if is_number and "baseline" in words and words & {"over", "relative"} and words & {"ratio", "waste"}:
        return {"waste_ratio": value, "baseline_waste_ratio": 1.0}
    if is_number and {"concentrate", "flow", "full"} <= words:
        return {"concentrate_is_running_with_full_tank": value > 0.0}
    if {"concentrate", "stops"} <= words and "never" not in words and isinstance(value, bool):
        return {"concentrate_never_stops": not value}
    if "tank" in words and "shut" in words and "after" not in words:
        if isinstance(value, str) or "trend" in words:
            return {"tank_pressure_falls_with_feed_shut": str(value).startswith(("fall", "drop", "los"))}
        if words & {"holds", "steady"}:
            return {"tank_pressure_falls_with_feed_shut": not value}
        if is_number and words & {"drop", "fall", "loss"}:
            return {"tank_pressure_falls_with_feed_shut": value > 0.0}
    if {"tank", "trend"} <= words:
        return {"tank_pressure_falls_with_feed_shut": str(value).startswith(("fall", "drop", "los"))}
    known, in_house = _fact(name, value)
    return {known: in_house}


@check("cause")
def _cause(inputs: Inputs) -> list[str]:
    facts: dict[str, Any] = {}
    for name in list(inputs.left):
        facts |= _spoken(name, inputs.left.pop(name))
    # The tank is full and the concentrate does not stop: it runs.
    if facts.get("tank_is_full") and facts.get("concentrate_never_stops"):
        facts["concentrate_is_running_with_full_tank"] = True
    # A fact no rule asks for changes nothing; the diagnosis itself refuses unknown names.
    context = {name: value for name, value in facts.items() if name in CONTEXT_KEYS}
    return [cause for match in diagnose(context) for cause in match.causes]
