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
    uncertainty,
    viscosity,
)
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


@check("hardness_mg_per_l_as_caco3")
def _hardness(inputs: Inputs) -> float:
    return float(inputs.unit("hardness", "hardness", HARDNESS_SUFFIXES))


@check("alkalinity_mg_per_l_as_caco3")
def _alkalinity(inputs: Inputs) -> float:
    return float(inputs.unit("alkalinity", "alkalinity", HARDNESS_SUFFIXES))


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


@check("capacity_eq_per_l")
def _capacity_per_l(inputs: Inputs) -> float:
    return _exchange_capacity(inputs)


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


def _only_25(inputs: Inputs) -> None:
    if inputs.take("temperature_degc", default=25) != 25:
        raise EngineeringError("temperature_degc", "This value is known at 25 degC only.")


def _factor(inputs: Inputs) -> float:
    return float(inputs.take("factor_mg_per_l_per_us_per_cm", "tds_factor", "factor", default=0.5))


# --- osmotic pressure and mass balance -----------------------------------------------------------------------------


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
        feed_brine_differential_pressure_kpa=inputs.pressure("feed_brine_drop", 0.0),
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
    flow = inputs.flow("permeate_flow")
    actual, standard = _point(inputs.take("actual")), _point(inputs.take("standard"))
    tcf, standard_tcf = (
        temperature_correction.water_tcf(point.temperature_degc, u_kelvin=u_kelvin, method=method)
        for point in (actual, standard)
    )
    return normalisation.normalised_permeate_flow_l_per_day(
        flow,
        net_driving_pressure_kpa=normalisation.net_driving_pressure_kpa(actual),
        standard_net_driving_pressure_kpa=normalisation.net_driving_pressure_kpa(standard),
        tcf=tcf,
        standard_tcf=standard_tcf,
    )


@check("salt_passage_fraction")
def _salt_passage(inputs: Inputs) -> float:
    return normalisation.salt_passage_fraction(*(_on_stored_scale(inputs, side) for side in ("feed", "permeate")))


@check("rejection_fraction")
def _rejection(inputs: Inputs) -> float:
    return normalisation.rejection_fraction(_salt_passage(inputs))


CHECKS["rejection_percent"] = lambda inputs: 100.0 * _rejection(inputs)
CHECKS["salt_passage_percent"] = lambda inputs: 100.0 * _salt_passage(inputs)


def _on_stored_scale(inputs: Inputs, side: str) -> float:
    factor = inputs.take(
        f"{side}_tds_factor",
        f"{side}_factor",
        f"{side}_meter_factor",
        f"{side}_factor_mg_per_l_per_us_per_cm",
        f"{side}_tds_factor_mg_per_l_per_us_per_cm",
        default=units.STORED_TDS_FACTOR,
    )
    return float(conductivity.rebase_tds_mg_per_l(inputs.tds(f"{side}_tds"), factor))


@check("normalised_salt_passage_fraction")
def _normalised_salt_passage(inputs: Inputs) -> float:
    if inputs.take("salt_tcf", default="same_as_water") != "same_as_water":
        raise EngineeringError("salt_tcf", "Salt passage is corrected for temperature as water passage is.")
    actual, standard = _point(inputs.take("actual")), _point(inputs.take("standard"))
    return normalisation.normalised_salt_passage_fraction(
        normalisation.salt_passage_fraction(actual.feed_tds_mg_per_l, actual.permeate_tds_mg_per_l),
        net_driving_pressure_kpa=normalisation.net_driving_pressure_kpa(actual),
        standard_net_driving_pressure_kpa=normalisation.net_driving_pressure_kpa(standard),
        recovery_fraction=actual.recovery_fraction,
        standard_recovery_fraction=standard.recovery_fraction,
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


# --- temperature and viscosity -------------------------------------------------------------------------------------


@check("water_tcf")
def _tcf(inputs: Inputs) -> float:
    u_kelvin, method = _tcf_options(inputs)
    return temperature_correction.water_tcf(inputs.take("temperature_degc"), u_kelvin=u_kelvin, method=method)


@check("viscosity_ratio_25_over_t")
def _viscosity_ratio(inputs: Inputs) -> float:
    # as a filter shows it: what takes 1 at a temperature takes so much at 25 degC
    return sediment.normalised_differential_pressure(
        1.0,
        flow=1.0,
        reference_flow=1.0,
        temperature_degc=inputs.take("temperature_degc"),
        reference_temperature_degc=25.0,
    )


@check("viscosity_mpa_s", "water_viscosity_mpa_s")
def _viscosity(inputs: Inputs) -> float:
    return viscosity.water_viscosity_mpa_s(inputs.take("temperature_degc"))


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


@check("normalised_dp_psi", "normalised_dp_kpa")
def _normalised_dp(inputs: Inputs) -> float:
    if inputs.take("flow_exponent", default=1.0) != 1.0:
        raise EngineeringError("flow_exponent", "A cartridge's differential pressure grows in step with its flow.")
    return sediment.normalised_differential_pressure(
        _stem(inputs, "dp"),
        flow=inputs.flow("flow"),
        reference_flow=inputs.flow("reference_flow"),
        temperature_degc=inputs.take("temperature_degc"),
        reference_temperature_degc=inputs.take("reference_temperature_degc", default=25.0),
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


@check("feed_volume_at_capacity_l")
def _feed_at_capacity(inputs: Inputs) -> float:
    return carbon.feed_volume_at_capacity_l(inputs.take("capacity_g_as_cl2"), _chlorine(inputs))


@check("membrane_exposure_ppm_h")
def _exposure(inputs: Inputs) -> float:
    return carbon.membrane_exposure_ppm_h(_chlorine(inputs), inputs.take("hours_per_day"), inputs.take("days"))


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


@check("pk1_carbonic")
def _pk1(inputs: Inputs) -> float:
    return carbonate.pk1_carbonic(inputs.take("temperature_degc"))


@check("pk2_carbonic")
def _pk2(inputs: Inputs) -> float:
    return carbonate.pk2_carbonic(inputs.take("temperature_degc"))


@check("throughput_at_breakthrough_bed_capacities")
def _breakthrough(inputs: Inputs) -> float:
    return resin.throughput_at_breakthrough(
        inputs.take("transfer_units"),
        inputs.take("outlet_fraction"),
        inputs.take("beds_in_series_fresh", default=1.0),
    )


@check("capacity_used_at_breakthrough_fraction")
def _used(inputs: Inputs) -> float:
    left = resin.remaining_capacities_at(inputs.take("transfer_units"), inputs.take("outlet_fraction"))
    return 1.0 - float(left) / inputs.take("beds_in_series_fresh", "beds_in_series", default=1.0)


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


# --- targets -------------------------------------------------------------------------------------------------------


@check("iso3696_max_conductivity_us_per_cm")
def _iso3696(inputs: Inputs) -> float:
    return targets.iso3696_max_conductivity_us_per_cm(inputs.take("grade"))


WEEKLY = ("demand_l_per_week", "weekly_demand_l", "permeate_l_per_week", "product_l_per_week")

# --- sizing --------------------------------------------------------------------------------------------------------


@check("run_hours_per_day")
def _run_hours(inputs: Inputs) -> float:
    return demand.run_hours_per_day(inputs.take(*WEEKLY) / 7.0, inputs.flow("permeate_flow"))


@check("wastewater_l_per_week")
def _waste(inputs: Inputs) -> float:
    return demand.wastewater_l_per_week(inputs.take(*WEEKLY), inputs.take("recovery_fraction"))


@check("feed_l_per_week")
def _feed_per_week(inputs: Inputs) -> float:
    return demand.feed_l_per_week(inputs.take(*WEEKLY), inputs.take("recovery_fraction"))


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
    "clean_prefilter_dp": "clean_prefilter_differential_pressure_kpa",
    "prefilter_dp": "prefilter_differential_pressure_kpa",
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
                fact = next((candidate for candidate in candidates if candidate in CONTEXT_KEYS), None)
                return FACT_NAMES.get(stem) or fact or FACT_NAMES.get(stem.removesuffix("_pressure")) or stem, value
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
    fact, in_house = _fact(name, value)
    return {fact: in_house}


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


# --- meters --------------------------------------------------------------------------------------------------------


@check("conductivity_25_us_per_cm")
def _conductivity_25(inputs: Inputs) -> float:
    if inputs.take("compensation", default="iso7888") != "iso7888":
        raise EngineeringError("compensation", "Probes without compensation are brought to 25 degC by ISO 7888.")
    raw, celsius = inputs.take("conductivity_raw_us_per_cm"), inputs.take("temperature_degc")
    factor = conductivity.iso7888_f25(celsius)
    return float(raw if inputs.take("meter_already_compensated", default=False) else raw * factor)


@check("tds_mg_per_l")
def _tds(inputs: Inputs) -> float:
    stored = units.convert_number(inputs.take("conductivity_25_us_per_cm"), "uS/cm", "tds", field="tds")
    return float(conductivity.rebase_tds_mg_per_l(stored, units.STORED_TDS_FACTOR, _factor(inputs)))


@check("tds_rebased_mg_per_l")
def _rebased(inputs: Inputs) -> float:
    return float(
        conductivity.rebase_tds_mg_per_l(
            inputs.take("tds_mg_per_l"), inputs.take("from_factor"), inputs.take("to_factor")
        )
    )


# --- osmotic pressure, carbon dioxide -------------------------------------------------------------------------------


@check("osmotic_pressure_kpa")
def _osmotic(inputs: Inputs) -> float:
    model = inputs.take("model", default="astm_d4516")
    return float(osmotic_pressure.osmotic_pressure_kpa(inputs.tds("tds"), inputs.take("temperature_degc"), model=model))


@check("osmotic_pressure_psi")
def _osmotic_psi(inputs: Inputs) -> float:
    return units.express(_osmotic(inputs), "psi", "pressure")


@check("osmotic_pressure_bar")
def _osmotic_bar(inputs: Inputs) -> float:
    return units.express(_osmotic(inputs), "bar", "pressure")


@check("co2_mg_per_l")
def _co2(inputs: Inputs) -> float:
    return float(
        carbonate.co2_mg_per_l(
            ph=inputs.take("ph"),
            alkalinity_mg_per_l_as_caco3=inputs.take("alkalinity_mg_per_l_as_caco3"),
            temperature_degc=inputs.take("temperature_degc"),
            tds_mg_per_l=inputs.take("tds_mg_per_l"),
            calcium_mg_per_l_as_caco3=inputs.take(
                "calcium_mg_per_l_as_caco3", "hardness_mg_per_l_as_caco3", default=0.0
            ),
            magnesium_mg_per_l_as_caco3=inputs.take("magnesium_mg_per_l_as_caco3", default=0.0),
        )
    )
