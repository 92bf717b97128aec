"""Worlds that differ in physics, noise and service, so that a forecaster cannot learn one simulator by heart."""

from .settings import World

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
}  # fmt: skip
