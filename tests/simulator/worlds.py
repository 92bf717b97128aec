"""Worlds that differ in physics, noise and service, so that a forecaster cannot learn one simulator by heart."""

from tests.simulator.settings import World

WORLDS = {
    "usual": World(),
    "hard": World(
        sediment_true_over_label=0.4, sediment_place_spread=0.5, sediment_cartridge_spread=0.35,
        sediment_curves=(1.0, 1.0, 0.5), resin_place_spread=0.35, resin_cartridge_spread=0.25,
        resin_transfer_units=(6.0, 12.0), water_u_kelvin=3400.0, salt_u_kelvin=5200.0, membrane_acceleration=1.5,
        visit_gap_days=60.0, totaliser_share=0.0, told_demand_spread=0.45, told_demand_bias=0.8,
        demand_growth_spread=0.2, storms_per_year=8.0, early_share=0.4,
    ),
    "rich": World(
        weekly_client_share=0.5, daily_meter_share=0.25, monthly_client_share=0.2, visit_gap_days=120.0,
        totaliser_share=0.8, slip_share=0.02, resin_true_over_label=0.65, sediment_curves=(-1.0, -0.5, 0.0),
        sediment_place_spread=0.2, sediment_cartridge_spread=0.15, storms_per_year=1.0,
        membrane_flow_loss_per_year=0.04, membrane_salt_gain_per_year=0.3,
    ),
    "sparse": World(
        weekly_client_share=0.05, daily_meter_share=0.0, monthly_client_share=0.05, visit_gap_days=180.0,
        totaliser_share=0.1, early_share=0.5, unflushed_share=0.15, tds_noise=0.06, pressure_noise_kpa=14.0,
        flow_noise=0.1,
    ),
    # Books as offices keep them: changed by the calendar, nobody looked, half of the reasons not written, some wrong.
    "calendar": World(
        keeps_to_intervals=True, unwritten_share=0.45, habitual_word_share=0.12, visit_gap_days=150.0,
        weekly_client_share=0.15, daily_meter_share=0.05, monthly_client_share=0.15, gauge_share=0.7,
        sediment_days=700.0,
    ),
    # Records as they are kept: nobody sees more than gauges and meters show, most reasons are routine or blank, some
    # wrong, dates late, quantities missing; tanks, steps of use, water and membranes.
    "as_kept": World(
        is_kept_by_offices=True, unwritten_share=0.40, habitual_word_share=0.12, unwritten_visit_share=0.2,
        left_blank_share=0.15, late_entry_share=0.25, new_counter_share=0.15, visit_gap_days=110.0,
        weekly_client_share=0.10, daily_meter_share=0.04, monthly_client_share=0.15, gauge_share=0.85, gauge_bias=0.03,
        interval_days=(140.0, 260.0, 1_000.0, 170.0), tank_share=0.45, demand_step_share=0.25, demand_season=0.2,
        source_change_share=0.35, membrane_fault_share=0.04, dirt_season=0.3, sediment_days=900.0,
        sediment_place_spread=0.45, sediment_curves=(0.0, 0.5, -0.5, 1.0),
    ),
    # A small company in its first year and a half: few units, next to no past lives.
    "young": World(
        units=25, years=1.6, rollout_years=1.2, cut_years=(0.7, 1.1, 1.5), weekly_client_share=0.4,
        sediment_true_over_label=0.8, resin_true_over_label=1.0, carbon_true_over_label=0.8, told_demand_bias=1.0,
    ),
    # Records that hold dates and values and little else; biased gauges, chloramine, acid alkaline-rich water.
    "bare": World(
        left_out=(
            "readings.occasion", "readings.source", "readings.minutes_since_start", "readings.sampled_after_flush",
            "placements.continued_from", "placements.first_installed_day", "units.recovery_fraction",
            "units.restrictor_flow_l_per_day", "units.tds_resolution_mg_per_l", "units.has_booster_pump",
            "units.commissioned_day", "units.use", "sites.supply", "items.rated_temperature_degc",
            "items.rated_tds_mg_per_l", "items.rated_recovery_fraction", "items.rejection_fraction",
        ),
        gauge_bias=0.05, chloraminated_share=0.8, alkalinity_share=2.0, ph_median=7.2, totaliser_share=0.1,
        gauge_share=0.7, unflushed_share=0.10, slip_share=0.02,
    ),
    # Water and use that change: floods in spring, steps of demand, seals that fail, fast scaling.
    "restless": World(
        storms_per_year=10.0, storm_strength=10.0, dirt_season=0.7, demand_step_share=0.3, demand_season=0.4,
        demand_growth_spread=0.25, source_change_share=0.6, membrane_fault_share=0.06, membrane_flow_loss_per_year=0.12,
        membrane_flow_spread=0.8, membrane_acceleration=1.3, feed_tds_spread=0.8, sediment_curves=(1.0, 0.0, -1.0),
        sediment_place_spread=0.6, sediment_true_over_label=1.2, carbon_true_over_label=0.25, pressure_noise_kpa=10.0,
        weekly_client_share=0.35, water_u_kelvin=2300.0, salt_u_kelvin=5000.0,
    ),
}  # fmt: skip
