"""What holds for every formula: arrays as scalars, missing stays missing, nothing is clipped, and it moves one way.

One table gives each formula its arguments, their valid ranges and, where physics says so, the direction in which the
result moves when that argument grows alone.
"""

import inspect
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas import (
    carbon,
    carbonate,
    conductivity,
    lead_lag,
    mass_balance,
    normalisation,
    osmotic_pressure,
    resin,
    restrictor,
    scaling,
    sediment,
    tank,
    temperature_correction,
    uncertainty,
    viscosity,
)
from fleet.engineering.sizing import demand


@dataclass(frozen=True)
class Argument:
    """Where to draw an argument from, which way the result moves with it, and values that must be refused."""

    low: float
    high: float
    moves: int = 0
    refused: tuple[float, ...] = ()


@dataclass(frozen=True)
class Case:
    function: Callable[..., Any]
    arguments: dict[str, Argument]
    fixed: dict[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return f"{self.function.__module__.removeprefix('fleet.engineering.')}.{self.function.__name__}"


A = Argument
TDS = (-1.0, 50001.0)
COLD_TO_HOT = A(1.0, 45.0, refused=(0.5, 45.5))
RECOVERY = (-0.01, 1.0)


def warm(moves: int, low: float = 1.0, high: float = 45.0, refused: tuple[float, ...] = (0.5, 45.5)) -> Argument:
    return A(low, high, moves, refused)


CASES = [
    Case(viscosity.water_viscosity_mpa_s, {"temperature_degc": warm(-1, 0, 100, (-1, 101))}),
    Case(
        temperature_correction.water_tcf,
        {"temperature_degc": warm(1), "u_kelvin": A(2000, 4000, refused=(100, 20000))},
    ),
    Case(temperature_correction.inverse_temperature_per_kelvin, {"temperature_degc": warm(1, 0, 100, (-1, 101))}),
    Case(
        temperature_correction.water_u_kelvin,
        {"temperature_degc": COLD_TO_HOT, "stated_u_kelvin": A(500, 10000, 1, (100, 20000))},
    ),
    Case(temperature_correction.water_tcf, {"temperature_degc": warm(1)}, {"method": "3_percent_per_degc"}),
    Case(
        osmotic_pressure.osmotic_pressure_kpa,
        {"tds_mg_per_l": A(0, 50000, 1, TDS), "temperature_degc": warm(1)},
    ),
    Case(
        osmotic_pressure.osmotic_pressure_kpa,
        {"tds_mg_per_l": A(1, 20000, 1, TDS), "temperature_degc": COLD_TO_HOT},
        {"model": "real_solution"},
    ),
    Case(
        mass_balance.recovery_fraction,
        {"permeate_flow": A(1, 1000, 1, (-1.0,)), "concentrate_flow": A(1, 4000, -1, (-1.0,))},
    ),
    Case(mass_balance.recovery_from_waste_ratio, {"concentrate_to_permeate_ratio": A(0, 20, -1, (-0.1,))}),
    Case(mass_balance.waste_ratio, {"recovery": A(0.01, 1, -1, (0.0, -0.1, 1.1))}),
    Case(mass_balance.feed_volume_l, {"permeate_volume_l": A(0, 1e5, 1, (-1.0,)), "recovery": A(0.01, 1, -1, (0.0,))}),
    Case(
        mass_balance.concentration_factor,
        {"recovery": A(0, 0.95, 1, RECOVERY), "rejection": A(0, 1, 1, (-0.1, 1.1))},
    ),
    Case(mass_balance.feed_brine_factor, {"recovery": A(0, 0.95, 1, RECOVERY)}),
    Case(mass_balance.feed_brine_factor, {"recovery": A(0, 0.95, 1, RECOVERY)}, {"average": "arithmetic"}),
    Case(mass_balance.polarisation_factor, {"recovery": A(0, 0.95, 1, RECOVERY)}),
    Case(
        mass_balance.salt_balance_closure_fraction,
        {
            "feed_flow": A(10, 1000, -1, (0.0, -1.0)),
            "feed_tds_mg_per_l": A(10, 2000, -1, (0.0,)),
            "permeate_flow": A(0, 200, 1, (-1.0,)),
            "permeate_tds_mg_per_l": A(0, 100, 1, TDS),
            "concentrate_flow": A(0, 800, 1, (-1.0,)),
            "concentrate_tds_mg_per_l": A(0, 3000, 1, TDS),
        },
    ),
    Case(
        normalisation.salt_passage_fraction,
        {"feed_tds_mg_per_l": A(200, 2000, -1, (0.0, -1.0, 50001)), "permeate_tds_mg_per_l": A(0, 199, 1, TDS)},
    ),
    Case(
        normalisation.rejection_fraction,
        {"salt_passage_fraction": A(0, 1, -1, (1.1,))},
    ),
    Case(
        conductivity.rebase_tds_mg_per_l,
        {
            "tds_mg_per_l": A(0, 2000, 1, (-1.0,)),
            "from_factor": A(0.4, 1, -1, (0.3, 1.1)),
            "to_factor": A(0.4, 1, 1, (0.3, 1.1)),
        },
    ),
    Case(
        uncertainty.reading_standard_uncertainty,
        {
            "value": A(0, 1000, 1),
            "accuracy_fraction": A(0, 1, 1, (-0.1, 1.1)),
            "resolution": A(0, 10, 1, (-1.0,)),
        },
    ),
    Case(
        restrictor.concentrate_flow_for_ratio,
        {"permeate_flow": A(0, 1000, 1, (-1.0,)), "concentrate_to_permeate_ratio": A(0, 10, 1, (-1.0,))},
    ),
    Case(
        restrictor.restrictor_size_ml_per_min,
        {"permeate_flow_l_per_day": A(0, 1000, 1, (-1.0,)), "concentrate_to_permeate_ratio": A(0, 10, 1, (-1.0,))},
    ),
    Case(
        restrictor.restrictor_flow,
        {
            "rated_flow": A(1, 1000, 1, (-1.0,)),
            "rated_pressure": A(100, 600, -1, (0.0,)),
            "pressure": A(100, 900, 1, (0.0,)),
        },
        {"restrictor_type": "orifice"},
    ),
    Case(
        restrictor.restrictor_flow,
        {
            "rated_flow": A(1, 1000, 1, (-1.0,)),
            "rated_pressure": A(100, 600, -1, (0.0,)),
            "pressure": A(100, 900, 1, (0.0,)),
            "temperature_degc": warm(1, 0, 60, (-1.0,)),
            "rated_temperature_degc": warm(-1, 0, 60, (-1.0,)),
        },
        {"restrictor_type": "capillary"},
    ),
    Case(
        tank.tank_water_volume_l,
        {
            "tank_volume_l": A(1, 100, 1, (0.0,)),
            "precharge_pressure_kpa": A(0, 100, -1, (-1.0, 500.0)),
            "tank_pressure_kpa": A(101, 400, 1, (-1.0,)),
            "atmospheric_kpa_absolute": A(60, 105, -1, (10.0,)),
        },
    ),
    Case(
        tank.shutoff_tank_pressure_kpa,
        {"line_pressure_kpa": A(0, 900, 1, (-1.0,)), "shutoff_fraction": A(0.1, 1, 1, (0.0, 1.1))},
    ),
    Case(
        sediment.normalised_differential_pressure,
        {
            "differential_pressure": A(0, 200, 1, (-1.0,)),
            "flow": A(0.1, 5, -1, (0.0,)),
            "reference_flow": A(0.1, 5, 1, (0.0,)),
            "temperature_degc": warm(1, 0, 60, (-1.0,)),
        },
    ),
    Case(
        carbon.chlorine_removal_fraction,
        {"influent_mg_per_l": A(1, 5, 1, (0.0,)), "effluent_mg_per_l": A(0, 0.99, -1, (-0.1, 6.0))},
    ),
    Case(
        carbon.feed_volume_at_capacity_l,
        {"capacity_g": A(0, 500, 1, (-1.0,)), "chlorine_mg_per_l": A(0.05, 20, -1, (0.0,))},
    ),
    Case(
        carbon.membrane_exposure_ppm_h,
        {
            "chlorine_mg_per_l": A(0, 20, 1, (-1.0,)),
            "hours_per_day": A(0, 24, 1, (-1.0, 25.0)),
            "days": A(0, 3000, 1, (-1.0,)),
        },
    ),
    Case(carbonate.pk1_carbonic, {"temperature_degc": A(0, 45, -1, (-1.0, 101.0))}),
    Case(carbonate.pk2_carbonic, {"temperature_degc": A(0, 45, -1, (-1.0, 101.0))}),
    Case(carbonate.pkw_water, {"temperature_degc": A(0, 100, -1, (-1.0, 101.0))}),
    Case(carbonate.ionic_strength_from_tds_mol_per_l, {"tds_mg_per_l": A(0, 20000, 1, (-1.0, 20001.0))}),
    Case(
        carbonate.co2_mg_per_l,
        {
            "ph": A(5, 8.5, -1, (3.9, 11.1)),
            "alkalinity_mg_per_l_as_caco3": A(20, 500, 1, (-1.0,)),
            "temperature_degc": A(0, 45, -1, (-0.5, 46.0)),
            "tds_mg_per_l": A(0, 5000, refused=(-1.0,)),
            "calcium_mg_per_l_as_caco3": A(0, 800, -1, (-1.0,)),
            "magnesium_mg_per_l_as_caco3": A(0, 400, -1, (-1.0,)),
        },
    ),
    Case(conductivity.iso7888_f25, {"temperature_degc": A(0, 35.9, -1, (-0.1, 36.0))}),
    Case(resin.ionic_load_meq_per_l, {"tds_mg_per_l": A(0, 5000, 1, TDS)}),
    Case(
        resin.weak_acid_load_meq_per_l,
        {"co2_mg_per_l": A(0, 50, 1, (-1.0,)), "silica_mg_per_l": A(0, 10, 1, (-1.0,))},
    ),
    Case(
        resin.governing_load_meq_per_l,
        {
            "ionic_load_meq_per_l": A(0, 2, 1, (-1.0,)),
            "co2_mg_per_l": A(5, 50, 1, (-1.0,)),
            "silica_mg_per_l": A(0, 10, 1, (-1.0,)),
            "ammonium_meq_per_l": A(0, 0.1, 0, (-1.0,)),
        },
    ),
    Case(resin.capacity_eq, {"resin_volume_l": A(0.1, 10, 1, (0.0,)), "capacity_eq_per_l": A(0.1, 2, 1, (0.0, 4.0))}),
    Case(resin.service_volume_l, {"capacity_eq": A(0.01, 5, 1, (-1.0,)), "load_meq_per_l": A(0.01, 5, -1, (0.0,))}),
    Case(
        resin.outlet_fraction,
        {
            "transfer_units": A(3, 60, refused=(0.0, -1.0)),
            "throughput_capacities": A(0, 3, 1, (-0.1,)),
            "remaining_capacities": A(0.1, 2, -1, (0.0,)),
        },
    ),
    Case(
        resin.throughput_at_breakthrough,
        {
            "transfer_units": A(8, 60, refused=(0.0,)),
            "outlet_fraction": A(0.01, 0.99, 1, (0.0, 1.0)),
            "remaining_capacities": A(1, 2, 1, (0.0,)),
        },
    ),
    Case(
        resin.remaining_capacities_at,
        {"transfer_units": A(8, 60, -1, (0.0,)), "outlet_fraction": A(0.01, 0.99, -1, (0.0, 1.1))},
    ),
    Case(
        resin.exhausted_fraction_by_tds,
        {"permeate_tds_mg_per_l": A(3, 100, -1, (0.0,)), "outlet_tds_mg_per_l": A(0, 100, 1, TDS)},
    ),
    Case(lead_lag.steady_throughput_capacities, {"transfer_units": A(6, 60, 0, (0.0, -1.0))}),
    Case(scaling.pks_calcite, {"temperature_degc": A(0, 45, 1, (-1.0, 101.0))}),
    Case(
        scaling.langelier_index,
        {
            "ph": A(6, 8.5, 1, (3.9, 11.1)),
            "calcium_mg_per_l_as_caco3": A(10, 500, 1, (0.0, -1.0)),
            "alkalinity_mg_per_l_as_caco3": A(20, 500, 1, (0.0,)),
            "tds_mg_per_l": A(10, 5000, -1, (0.0, 10001.0)),
            "temperature_degc": A(0, 45, 1, (-1.0, 46.0)),
        },
    ),
    Case(
        scaling.concentrate_ph,
        {
            "feed_ph": A(6.5, 8, 1, (3.9,)),
            "feed_alkalinity_mg_per_l_as_caco3": A(20, 300, refused=(0.0,)),
            "feed_tds_mg_per_l": A(20, 1000, refused=(-1.0,)),
            "temperature_degc": A(1, 45, refused=(-1.0, 46.0)),
            "recovery_fraction": A(0, 0.8, 1, RECOVERY),
        },
    ),
    Case(
        scaling.concentrate_langelier_index,
        {
            "feed_ph": A(6.5, 8, 1, (3.9,)),
            "feed_calcium_mg_per_l_as_caco3": A(10, 300, 1, (0.0,)),
            "feed_alkalinity_mg_per_l_as_caco3": A(20, 300, 1, (0.0,)),
            "feed_tds_mg_per_l": A(20, 1000, -1, (0.0,)),
            "temperature_degc": A(1, 45, 1, (-1.0, 46.0)),
            "recovery_fraction": A(0, 0.8, 1, RECOVERY),
        },
    ),
    Case(
        scaling.amorphous_silica_solubility_mg_per_l,
        {"temperature_degc": A(0, 60, 1, (-1.0, 61.0)), "ph": A(4, 10, 1, (3.0, 11.0))},
    ),
    Case(
        scaling.max_recovery_by_silica_fraction,
        {"feed_silica_mg_per_l": A(0, 60, -1, (-1.0,)), "temperature_degc": A(1, 60, 1, (-1.0,))},
    ),
    Case(
        demand.run_hours_per_day,
        {"demand_l_per_day": A(0, 90, 1, (-1.0, 1e5)), "permeate_flow_l_per_day": A(100, 1000, -1, (0.0,))},
    ),
    Case(
        demand.wastewater_l_per_week,
        {"demand_l_per_week": A(0, 600, 1, (-1.0,)), "recovery_fraction": A(0.05, 1, -1, (0.0, 1.1))},
    ),
    Case(
        demand.feed_l_per_week,
        {"demand_l_per_week": A(0, 600, 1, (-1.0,)), "recovery_fraction": A(0.05, 1, -1, (0.0, 1.1))},
    ),
    Case(
        demand.tank_usable_volume_l,
        {
            "peak_draw_l": A(0, 100, 1, (-1.0,)),
            "permeate_flow_l_per_day": A(0, 500, -1, (-1.0,)),
            "draw_window_h": A(0, 24, -1, (-1.0, 200.0)),
        },
    ),
    Case(
        demand.reef_weekly_demand_l,
        {
            "tank_volume_l": A(0, 2000, 1, (-1.0,)),
            "water_change_fraction_per_week": A(0, 1, 1, (-0.1, 1.1)),
            "evaporation_fraction_per_day": A(0, 0.2, 1, (-0.1, 0.3)),
        },
    ),
    Case(
        demand.flush_water_l_per_week,
        {"starts_per_day": A(0, 50, 1, (-1.0,)), "flush_l_per_start": A(0, 5, 1, (-1.0,))},
    ),
]  # fmt: skip
IDS = [f"{number:02d}-{case.name}" for number, case in enumerate(CASES)]


def positional(case: Case, values: dict[str, Any]) -> Any:
    return case.function(**case.fixed, **values)


def draw(case: Case, shares: list[float]) -> dict[str, float]:
    return {
        name: argument.low + share * (argument.high - argument.low)
        for (name, argument), share in zip(case.arguments.items(), shares, strict=False)
    }


@pytest.mark.parametrize("case", CASES, ids=IDS)
@settings(max_examples=15, deadline=None)
@given(shares=st.lists(st.floats(0.0, 1.0), min_size=6, max_size=6), other=st.floats(0.0, 1.0))
def test_arrays_and_scalars_agree_and_missing_stays_missing(case: Case, shares: list[float], other: float) -> None:
    values, partner = draw(case, shares), draw(case, [other] * 6)
    try:
        alone = positional(case, values)
        second = positional(case, partner)
    except EngineeringError:
        # Two arguments may clash (no flow at all, a pH beyond the alkalinity); both sides must then refuse alike.
        return
    assert isinstance(alone, float)
    assert math.isfinite(alone)
    columns = {name: np.array([values[name], partner[name], math.nan]) for name in values}
    together = positional(case, columns)
    assert isinstance(together, np.ndarray)
    assert together.shape == (3,)
    assert together[0] == pytest.approx(alone, rel=1e-12, abs=1e-12)
    assert together[1] == pytest.approx(second, rel=1e-12, abs=1e-12)
    assert math.isnan(together[2])
    for name in values:
        one_missing = positional(case, {**values, name: math.nan})
        # A second slope stands in for a coefficient that is not known; everything else stays missing.
        assert math.isnan(one_missing) or name.endswith("u_kelvin")


@pytest.mark.parametrize("case", CASES, ids=IDS)
@settings(max_examples=15, deadline=None)
@given(shares=st.lists(st.floats(0.0, 1.0), min_size=6, max_size=6), step=st.floats(0.01, 1.0))
def test_each_argument_moves_the_result_one_way(case: Case, shares: list[float], step: float) -> None:
    values = draw(case, shares)
    for name, argument in case.arguments.items():
        if not argument.moves:
            continue
        further = values[name] + step * (argument.high - values[name])
        if further <= values[name]:
            continue
        try:
            before, after = positional(case, values), positional(case, {**values, name: further})
        except EngineeringError:
            continue
        slack = 1e-9 * max(1.0, abs(before), abs(after))
        assert argument.moves * (after - before) >= -slack, (name, values, further)


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_nothing_is_extrapolated_or_clipped(case: Case) -> None:
    middle = draw(case, [0.4] * 6)
    whole_result = positional(case, middle)
    assert math.isfinite(whole_result)
    for name, argument in case.arguments.items():
        for wrong in (*argument.refused, math.inf, -math.inf, 1e308, -1e308):
            with pytest.raises(EngineeringError) as caught:
                positional(case, {**middle, name: wrong})
            assert caught.value.field
            column = {key: np.full(3, value) for key, value in middle.items()}
            column[name] = np.array([middle[name], wrong, middle[name]])
            with pytest.raises(EngineeringError):
                positional(case, column)
        for nonsense in ("12", True, None, [1.0, "x"]):
            if nonsense is None and name.endswith(("u_kelvin", "ph")):
                continue
            with pytest.raises(EngineeringError):
                positional(case, {**middle, name: nonsense})


def test_every_formula_stands_in_the_table() -> None:
    """A new formula must be added above, or named here with the reason."""
    elsewhere = {
        "standard conditions, tested in tests/published": {
            "net_driving_pressure_kpa", "signed_net_driving_pressure_kpa", "normalised_permeate_flow_l_per_day",
            "normalised_salt_passage_fraction", "expected_permeate_flow_l_per_day", "permeate_flow_under_l_per_day",
        },
        "scalars only, or several results": {"tank_fill_time_multiple", "rotation"},
        "one line over another formula": {"water_density_kg_per_l", "bicarbonate_mol_per_l"},
    }  # fmt: skip
    modules = {inspect.getmodule(case.function) for case in CASES}
    covered = {case.function.__name__ for case in CASES}.union(*elsewhere.values())
    for module in modules:
        assert module is not None
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ == module.__name__ and not name.startswith("_"):
                assert name in covered, f"{module.__name__}.{name}"
