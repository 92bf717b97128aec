"""Every knob of the simulated world, so that a test can bend the physics away from what a forecaster assumes.

All values are invented and only plausible: common practice, no source.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class World:
    """Knobs; spreads are standard deviations of natural logarithms unless the name says otherwise."""

    units: int = 300
    years: float = 4.0
    start_day: float = 18_262.0  # 2020-01-01

    # water
    units_per_supply: int = 8
    feed_tds_median_mg_per_l: float = 250.0
    feed_tds_spread: float = 0.5
    storms_per_year: float = 4.0
    storm_strength: float = 6.0
    source_change_share: float = 0.15
    temperature_amplitude_degc: float = 6.0
    alkalinity_share: float = 1.0  # of the usual alkalinity for a TDS: more means more carbon dioxide
    ph_median: float = 7.55
    chloraminated_share: float = 0.25

    # demand
    told_demand_spread: float = 0.30
    told_demand_bias: float = 1.1
    demand_growth_spread: float = 0.10
    demand_noise_spread: float = 0.35
    demand_season: float = 0.10
    demand_step_share: float = 0.0  # units whose use changes once, for good, by a factor of up to about two
    holiday_days_per_year: float = 18.0

    # wear: label optimism, spread by place and by cartridge
    sediment_true_over_label: float = 0.6
    sediment_place_spread: float = 0.35
    sediment_cartridge_spread: float = 0.25
    sediment_turbidity_power: float = 0.7
    sediment_curves: tuple[float, ...] = (0.0, 0.0, 0.5, -0.5)
    sediment_days: float = float("inf")  # a filter clogs in so long without any dirt: growth and settling
    dirt_season: float = 0.0  # spring floods: dirt follows the year by so much
    carbon_true_over_label: float = 0.5
    carbon_place_spread: float = 0.30
    carbon_cartridge_spread: float = 0.20
    carbon_transfer_units: tuple[float, float] = (4.0, 10.0)
    resin_true_over_label: float = 0.8
    resin_place_spread: float = 0.20
    resin_cartridge_spread: float = 0.15
    resin_transfer_units: tuple[float, float] = (8.0, 25.0)
    membrane_flow_loss_per_year: float = 0.06
    membrane_flow_spread: float = 0.5
    membrane_salt_gain_per_year: float = 0.18
    membrane_salt_spread: float = 0.6
    membrane_fault_share: float = 0.0  # a year: a seal fails and salt passage jumps
    membrane_acceleration: float = 1.0  # loss grows with (exposure)^this; 1 is a steady decline
    tank_share: float = 0.0  # units that fill a pressurised tank, against whose pressure the membrane works
    water_u_kelvin: float = 2800.0
    salt_u_kelvin: float = 4200.0

    # service
    visit_gap_days: float = 100.0
    early_share: float = 0.25
    miss_share: float = 0.10
    keeps_to_intervals: bool = False  # cartridges are changed when due by the calendar; only gauges show the others
    interval_days: tuple[float, float, float, float] = (180.0, 330.0, 900.0, 240.0)  # sediment, carbon, membrane, resin
    unwritten_share: float = 0.0  # of removals, without a reason in the books
    habitual_word_share: float = 0.0  # of routine removals, written down as 'exhausted'
    # as_kept.py: the visit sees gauges and meters alone, and the books are an office's
    is_kept_by_offices: bool = False
    unwritten_visit_share: float = 0.0  # of visits, whose readings nobody entered
    left_blank_share: float = 0.0  # of the quantities that somebody usually writes
    late_entry_share: float = 0.0  # of visits whose date in the books is up to ten days late
    new_counter_share: float = 0.0  # of units, whose counter is replaced once
    rollout_years: float = 0.5  # units are commissioned over so long
    cut_years: tuple[float, ...] = (1.5, 2.5, 3.5)

    # readings
    weekly_client_share: float = 0.25
    monthly_client_share: float = 0.15
    daily_meter_share: float = 0.10
    totaliser_share: float = 0.35
    slip_share: float = 0.01
    unflushed_share: float = 0.04
    tds_noise: float = 0.03
    pressure_noise_kpa: float = 6.0
    flow_noise: float = 0.04
    chlorine_noise: float = 0.10
    gauge_bias: float = 0.0  # every gauge and meter is off by its own lasting factor
    gauge_share: float = 1.0  # of the usual share of units that have each gauge
    left_out: tuple[str, ...] = ()  # columns that the company does not keep, as 'readings.occasion'
