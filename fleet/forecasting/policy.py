"""What counts as exhausted, and what is assumed when nothing is known. A company may tighten the limits."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Policy:
    """Limits of exhaustion for every kind of position, and the ages at which a cartridge leaves whatever it shows.

    Attributes
    ----------
    sediment_drop_kpa, sediment_share_of_outlet, sediment_margin_kpa, sediment_least_kpa
        The pressure drop at clean-reference flow and temperature passes its limit at the smallest of
        `sediment_drop_kpa` (10 psi), `sediment_share_of_outlet` of the clean outlet pressure and, above
        `sediment_margin_from_kpa` (55 psi), the margin over `sediment_margin_kpa` (50 psi); at least
        `sediment_least_kpa` (4 psi). Common practice, no source.
    sediment_share_in_series
        Share of that limit for each of two sediment cartridges in series.
    chlorine_mg_per_l
        Chlorine after the last carbon: free, or total on chloraminated water. Usual practice, from memory.
    lead_carbon_share
        Share of its feed chlorine that a lead carbon may pass.
    membrane_flow_share
        Normalised permeate flow against the membrane's own run-in value below which it is exhausted.
    minimum_rejection_fraction
        Normalised rejection below which the membrane no longer serves, where the unit does not say.
    product_tds_mg_per_l
        Product TDS above which single or lag resin is exhausted, where the unit does not say.
    lead_resin_share
        Outlet over permeate TDS at which a lead resin is exhausted.
    carbon_cap_days
        Days since first installed after which carbon leaves whatever it shows (biological growth); common practice, no
        source. Other stages have a cap only when their item says so.
    """

    sediment_drop_kpa: float = 68.95
    sediment_share_of_outlet: float = 0.15
    sediment_margin_kpa: float = 344.74
    sediment_margin_from_kpa: float = 379.21
    sediment_least_kpa: float = 27.58
    sediment_share_in_series: float = 0.6
    chlorine_mg_per_l: float = 0.1
    lead_carbon_share: float = 0.5
    membrane_flow_share: float = 0.85
    minimum_rejection_fraction: float = 0.90
    product_tds_mg_per_l: float = 1.0
    lead_resin_share: float = 0.95
    carbon_cap_days: float = 365.0
