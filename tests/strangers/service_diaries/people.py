"""Who writes the diary, with which instruments, and how often."""

from dataclasses import dataclass, replace
from random import Random

GPD = 3.785

COLUMNS = {
    "line": ("line pressure", ("bar", "psi")),
    "prefilter_outlet": ("prefilter outlet pressure", ("bar", "psi")),
    "inlet": ("inlet pressure", ("bar", "psi")),
    "degc": ("temperature", ("degC", "degF")),
    "feed_tds": ("feed TDS", ("mg/L", "ppm")),
    "permeate_tds": ("permeate TDS", ("mg/L", "ppm")),
    "start_tds": ("permeate TDS at start", ("mg/L", "ppm")),
    "between_tds": ("interstage TDS", ("mg/L", "ppm")),
    "product_tds": ("product TDS", ("mg/L", "ppm")),
    "permeate": ("permeate flow", ("L/day", "gpd")),
    "waste": ("concentrate flow", ("L/day", "gpd")),
    "feed_chlorine": ("feed total chlorine", ("mg/L", "mg/L")),
    "chlorine": ("carbon outlet total chlorine", ("mg/L", "mg/L")),
}
"""Header and its units, metric and US, by the short name used here."""


@dataclass(frozen=True)
class Writer:
    """A person with a habit."""

    name: str
    is_us: bool
    columns: tuple[str, ...]
    every_days: float
    jitter_days: float
    """Readings come so early or late."""
    gauge_step: float
    """bar; a cheap gauge is read to 5 psi."""
    gauge_sticks: bool
    meter_gain: float
    meter_digit: float
    flow_noise: float
    temperature_share: float
    """How often the temperature is noted; so for feed and flows."""
    feed_share: float
    flow_share: float
    chlorine_share: float
    tap_mix: float
    """Product read from the tap is so many times what runs into the tank; 1 where it is read before the tank."""
    holidays: bool


PSI = 0.0689476


def good_writer(rng: Random, columns: tuple[str, ...]) -> Writer:
    """Somebody who notes everything, often."""
    every = rng.choice((7.0, 9.0, 12.0, 14.0))
    return Writer(
        name=rng.choice(("Orsolyn", "Tamrick", "Bevan", "Yselle")),
        is_us=rng.random() < 0.4,
        columns=columns,
        every_days=every,
        jitter_days=every / 5,
        gauge_step=rng.choice((0.05, 0.1, 2 * PSI)),
        gauge_sticks=False,
        meter_gain=1 + rng.gauss(0, 0.01),
        meter_digit=1.0,
        flow_noise=0.025,
        temperature_share=0.97,
        feed_share=0.97,
        flow_share=0.95,
        chlorine_share=0.5,
        tap_mix=1.0,
        holidays=rng.random() < 0.4,
    )


def lazy_writer(rng: Random, columns: tuple[str, ...]) -> Writer:
    """Somebody who writes a line when it comes to mind, with cheap instruments."""
    every = rng.uniform(20, 36)
    return replace(
        good_writer(rng, columns),
        name=rng.choice(("Pim", "Dorrit", "Halvo")),
        every_days=every,
        jitter_days=every / 3,
        gauge_step=rng.choice((5 * PSI, 0.25)),
        gauge_sticks=rng.random() < 0.5,
        meter_gain=1 + rng.gauss(0, 0.02),
        flow_noise=0.05,
        temperature_share=rng.choice((0.0, 0.4, 0.7)),
        feed_share=rng.choice((0.5, 0.8, 1.0)),
        flow_share=rng.choice((0.6, 0.8, 1.0)),
        chlorine_share=0.6,
        tap_mix=rng.choice((1.0, 1.0, 1.15, 1.3)),
        holidays=rng.random() < 0.6,
    )


def visit_writer(rng: Random, columns: tuple[str, ...]) -> Writer:
    """Only the installer writes, at the visit."""
    every = rng.uniform(75, 120)
    return replace(
        good_writer(rng, columns),
        name="installer",
        every_days=every,
        jitter_days=12.0,
        gauge_step=rng.choice((0.1, 5 * PSI)),
        meter_gain=1 + rng.gauss(0, 0.015),
        flow_noise=0.04,
        chlorine_share=0.8,
        holidays=False,
    )
