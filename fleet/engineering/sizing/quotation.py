"""From a site survey to a train of positions with its numbers: what to quote, and why."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering import carbonate, lead_lag, resin, scaling
from fleet.engineering.errors import EngineeringError
from fleet.engineering.mass_balance import recovery_from_waste_ratio
from fleet.engineering.restrictor import restrictor_size_ml_per_min
from fleet.engineering.sizing.demand import (
    feed_l_per_week,
    tank_usable_volume_l,
    wastewater_l_per_week,
)
from fleet.engineering.sizing.site import (
    concentrate_langelier,
    site_flow_l_per_day,
    site_permeate_tds_mg_per_l,
)
from fleet.engineering.sizing.survey import MembraneOption, QuotationPolicy, SiteSurvey
from fleet.engineering.targets import target_for


@dataclass(frozen=True)
class QuotedPosition:
    """One place in the train: stage, role and why it is there."""

    stage: str
    role: str
    reason: str


@dataclass(frozen=True)
class Note:
    """A remark on the quotation: a code, and a sentence for the client's offer or the company's file."""

    code: str
    sentence: str


@dataclass(frozen=True)
class Quotation:
    """What to offer, with the numbers it rests on.

    Attributes
    ----------
    kind : str
        ``"ro"`` or ``"ro_di"``.
    membrane : str
        Code of the membrane chosen.
    positions : tuple of QuotedPosition
        From the feed on.
    has_booster_pump : bool
        Whether a pump is part of the offer.
    inlet_pressure_kpa : float
        Membrane inlet the numbers hold for.
    winter_permeate_flow_l_per_day, usual_permeate_flow_l_per_day : float
        At the lowest and the usual temperature; the winter flow with an aged membrane.
    winter_run_hours_per_day : float
        What the demand takes in winter.
    waste_ratio, recovery_fraction : float
        Concentrate to permeate, and permeate over feed.
    restrictor_ml_per_min : float
        Size of the flow restrictor at the usual temperature.
    waste_l_per_week, feed_l_per_week : float
        Without flush water.
    permeate_tds_mg_per_l : float
        Expected, at the usual temperature.
    concentrate_langelier_index : float or None
        None where pH, hardness or alkalinity are not known.
    resin_service_volume_l : float or None
        Permeate each resin cartridge serves; with two in rotation, after the first cycle.
    tank_usable_volume_l : float
        Stored water the peak draw asks for.
    notes : tuple of Note
        What to tell, what was assumed, what to mind.
    """

    kind: str
    membrane: str
    positions: tuple[QuotedPosition, ...]
    has_booster_pump: bool
    inlet_pressure_kpa: float
    winter_permeate_flow_l_per_day: float
    usual_permeate_flow_l_per_day: float
    winter_run_hours_per_day: float
    waste_ratio: float
    recovery_fraction: float
    restrictor_ml_per_min: float
    waste_l_per_week: float
    feed_l_per_week: float
    permeate_tds_mg_per_l: float
    concentrate_langelier_index: float | None
    resin_service_volume_l: float | None
    tank_usable_volume_l: float
    notes: tuple[Note, ...]


def quote(survey: SiteSurvey, membranes: Sequence[MembraneOption], policy: QuotationPolicy | None = None) -> Quotation:
    """Return what to offer for a site.

    Parameters
    ----------
    survey : SiteSurvey
        The site.
    membranes : sequence of MembraneOption
        What the catalogue has.
    policy : QuotationPolicy, optional
        The company's practice.

    Returns
    -------
    Quotation
        The smallest membrane that serves the winter demand, without a pump where the line allows it.

    Raises
    ------
    EngineeringError
        No membrane in the catalogue, or none that serves the demand even with a pump.

    Examples
    --------
    >>> from fleet.engineering.expected_flow import MembraneRating
    >>> options = [MembraneOption("M75", MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97))]
    >>> offer = quote(SiteSurvey("reef", 140.0, 420.0, 8.0, 14.0, 250.0), options)
    >>> offer.kind, offer.membrane, offer.has_booster_pump
    ('ro_di', 'M75', False)
    """
    practice = policy or QuotationPolicy()
    if not membranes:
        raise EngineeringError("membranes", "There is no membrane in the catalogue to choose from.")
    notes: list[Note] = []
    ratio, index = _waste_ratio(survey, practice, notes)
    recovery = float(recovery_from_waste_ratio(ratio))
    option, inlet, pumped = _choose(survey, membranes, practice, recovery, notes)
    usual = site_flow_l_per_day(option.rating, survey, inlet, survey.usual_temperature_degc, recovery)
    winter = (
        site_flow_l_per_day(option.rating, survey, inlet, survey.lowest_temperature_degc, recovery)
        * practice.ageing_fraction
    )
    hours = survey.demand_l_per_week / 7.0 / winter * 24.0
    _note_hours(hours, practice, notes)
    permeate = site_permeate_tds_mg_per_l(option.rating, survey, inlet, recovery)
    kind = "ro_di" if target_for(survey.use).needs_resin else "ro"
    positions = _train(survey, practice, kind, usual * (1.0 + ratio) / 24.0)
    service = _resin_service(survey, practice, permeate, positions, notes) if kind == "ro_di" else None
    _note_water(survey, kind, permeate, notes)
    return Quotation(
        kind=kind,
        membrane=option.code,
        positions=positions,
        has_booster_pump=pumped,
        inlet_pressure_kpa=inlet,
        winter_permeate_flow_l_per_day=winter,
        usual_permeate_flow_l_per_day=usual,
        winter_run_hours_per_day=hours,
        waste_ratio=ratio,
        recovery_fraction=recovery,
        restrictor_ml_per_min=float(restrictor_size_ml_per_min(usual, ratio)),
        waste_l_per_week=float(wastewater_l_per_week(survey.demand_l_per_week, recovery)),
        feed_l_per_week=float(feed_l_per_week(survey.demand_l_per_week, recovery)),
        permeate_tds_mg_per_l=permeate,
        concentrate_langelier_index=index,
        resin_service_volume_l=service,
        tank_usable_volume_l=float(tank_usable_volume_l(survey.peak_draw_l, winter, survey.draw_window_h)),
        notes=tuple(notes),
    )


def _waste_ratio(survey: SiteSurvey, practice: QuotationPolicy, notes: list[Note]) -> tuple[float, float | None]:
    """Return the least wasteful ratio customary for the hardness at which neither lime nor silica forms."""
    least = next(
        ratio
        for hardness, ratio in practice.least_ratio_up_to_hardness
        if (survey.hardness_mg_per_l_as_caco3 or 0.0) <= hardness
    )
    ratios = sorted(practice.waste_ratios)
    silica = survey.silica_mg_per_l or 0.0
    for ratio in ratios:
        index = concentrate_langelier(survey, ratio)
        if index is None:
            break
        if ratio < least:
            continue
        most = scaling.max_recovery_by_silica_fraction(silica, survey.lowest_temperature_degc)
        if index <= practice.highest_langelier and recovery_from_waste_ratio(ratio) <= most:
            return ratio, index
    if concentrate_langelier(survey, ratios[0]) is None:
        notes.append(
            Note(
                "scaling_not_known",
                "Hardness, alkalinity or pH were not measured, so scaling cannot be judged; the waste ratio is that of "
                "hard water.",
            )
        )
        return ratios[-2] if len(ratios) > 1 else ratios[0], None
    notes.append(
        Note(
            "soften_feed",
            "The water would leave scale on the membrane even with much waste: soften the feed. Softening lowers "
            "neither the TDS nor the load on the resin.",
        )
    )
    return ratios[-1], concentrate_langelier(survey, ratios[-1])


def _serves(
    option: MembraneOption, survey: SiteSurvey, practice: QuotationPolicy, inlet: float, recovery: float
) -> bool:
    try:
        winter = (
            site_flow_l_per_day(option.rating, survey, inlet, survey.lowest_temperature_degc, recovery)
            * practice.ageing_fraction
        )
    except EngineeringError:
        return False
    return survey.demand_l_per_week / 7.0 <= winter * practice.run_hours_per_day / 24.0


def _choose(
    survey: SiteSurvey,
    membranes: Sequence[MembraneOption],
    practice: QuotationPolicy,
    recovery: float,
    notes: list[Note],
) -> tuple[MembraneOption, float, bool]:
    """Return membrane, inlet pressure and whether a pump is needed: no pump where the line allows it."""
    by_size = sorted(membranes, key=lambda option: float(option.rating.flow_l_per_day))
    plain = max(survey.lowest_line_pressure_kpa - practice.prefilter_allowance_kpa, 0.0)
    # A line as strong as the pump leaves nothing for a pump to add, however salty the feed.
    salty = survey.feed_tds_mg_per_l > practice.pump_above_tds_mg_per_l and plain < practice.pump_pressure_kpa
    weak = plain < practice.pump_below_kpa
    if not salty and not weak:
        for option in by_size:
            if plain <= option.highest_pressure_kpa and _serves(option, survey, practice, plain, recovery):
                return option, plain, False
    for option in by_size:
        inlet = min(practice.pump_pressure_kpa, option.highest_pressure_kpa)
        if inlet > plain and _serves(option, survey, practice, inlet, recovery):
            why = "the feed is salty" if salty else "the line is weak" if weak else "the winter flow asks for it"
            notes.append(Note("booster_pump", f"A booster pump is part of the offer because {why}."))
            return option, inlet, True
    raise EngineeringError(
        "demand_l_per_week",
        "No membrane of the catalogue serves this demand in winter, even with a pump: choose a larger one, several in "
        "parallel, or longer running hours.",
    )


def _train(survey: SiteSurvey, practice: QuotationPolicy, kind: str, feed_l_per_h: float) -> tuple[QuotedPosition, ...]:
    train = [QuotedPosition("sediment", "single", "Holds back particles before carbon and membrane.")]
    reason = ""
    if survey.disinfectant == "chloramine":
        reason = "The supplier uses chloramine, which needs two carbons in series and catalytic carbon or a fine block."
    elif (survey.total_chlorine_mg_per_l or 0.0) > practice.second_carbon_above_chlorine_mg_per_l:
        reason = f"Total chlorine is above {practice.second_carbon_above_chlorine_mg_per_l:g} mg/L."
    elif feed_l_per_h > practice.second_carbon_above_feed_l_per_h:
        reason = f"The feed flow is above {practice.second_carbon_above_feed_l_per_h:g} L/h, so contact is short."
    if reason:
        train += [QuotedPosition("carbon", "lead", reason), QuotedPosition("carbon", "lag", reason)]
    else:
        train.append(QuotedPosition("carbon", "single", "Takes out chlorine before the membrane."))
    train.append(QuotedPosition("membrane", "single", "Takes out the salts."))
    if kind == "ro_di":
        if survey.use in ("reef", "laboratory"):
            why = "The product must stay at 0, so a second cartridge stands behind the first."
        elif survey.demand_l_per_week > practice.second_resin_above_l_per_week:
            why = "The demand is large enough for rotation to pay."
        else:
            return (*train, QuotedPosition("resin", "single", "Takes out what the membrane lets through."))
        train += [QuotedPosition("resin", "lead", why), QuotedPosition("resin", "lag", why)]
    return tuple(train)


def _resin_service(
    survey: SiteSurvey,
    practice: QuotationPolicy,
    permeate: float,
    positions: Sequence[QuotedPosition],
    notes: list[Note],
) -> float:
    gas = 0.0
    if survey.ph is not None and survey.alkalinity_mg_per_l_as_caco3:
        gas = float(
            carbonate.co2_mg_per_l(
                ph=survey.ph,
                alkalinity_mg_per_l_as_caco3=survey.alkalinity_mg_per_l_as_caco3,
                temperature_degc=survey.usual_temperature_degc,
                tds_mg_per_l=survey.feed_tds_mg_per_l,
                calcium_mg_per_l_as_caco3=survey.hardness_mg_per_l_as_caco3 or 0.0,
            )
        )
    else:
        notes.append(
            Note(
                "carbon_dioxide_not_known",
                "pH or alkalinity were not measured; carbon dioxide may shorten the life of the resin severalfold.",
            )
        )
    ionic = float(resin.ionic_load_meq_per_l(permeate))
    load = resin.governing_load_meq_per_l(
        ionic, co2_mg_per_l=gas, silica_mg_per_l=(survey.silica_mg_per_l or 0.0) * practice.silica_passage_fraction
    )
    if gas / carbonate.MOLAR_MASS_CO2 > ionic:
        notes.append(
            Note(
                "degas_before_resin",
                "Carbon dioxide is the larger part of the load on the resin: an open aerated tank before it pays.",
            )
        )
    whole = float(resin.service_volume_l(practice.resin_volume_l * practice.resin_capacity_eq_per_l, load))
    if any(position.stage == "resin" and position.role == "lag" for position in positions):
        return whole * float(lead_lag.steady_throughput_capacities(resin.TYPICAL_TRANSFER_UNITS))
    # A single cartridge is changed when its outlet shows a tenth of the permeate, about 1 mg/L.
    return whole * float(resin.throughput_at_breakthrough(resin.TYPICAL_TRANSFER_UNITS, 0.1))


def _note_hours(hours: float, practice: QuotationPolicy, notes: list[Note]) -> None:
    if hours < practice.least_run_hours_per_day:
        notes.append(
            Note(
                "runs_little",
                f"It will run {hours:.1f} h a day: creep at standstill matters, so use a wide draw-down band.",
            )
        )
    elif hours > practice.most_run_hours_per_day:
        notes.append(Note("no_reserve", f"It will run {hours:.1f} h a day in winter: there is no reserve."))


def _note_water(survey: SiteSurvey, kind: str, permeate: float, notes: list[Note]) -> None:
    if survey.total_chlorine_mg_per_l is None and survey.disinfectant != "none":
        notes.append(Note("chlorine_not_known", "Chlorine was not measured: test it before the carbon is chosen."))
    if (survey.iron_mg_per_l or 0.0) > 0.1 or (survey.manganese_mg_per_l or 0.0) > 0.05:
        notes.append(
            Note("iron_or_manganese", "Iron above 0.1 or manganese above 0.05 mg/L fouls the membrane: treat it first.")
        )
    target = target_for(survey.use)
    if kind == "ro" and permeate > target.product_tds_high_mg_per_l:
        notes.append(
            Note(
                "product_above_target",
                f"About {permeate:.0f} mg/L is expected; the use wants {target.product_tds_high_mg_per_l:.0f} or less.",
            )
        )
    if kind == "ro" and permeate < target.product_tds_low_mg_per_l:
        notes.append(
            Note(
                "add_minerals", "The permeate is softer than this use wants: blend or add minerals after the membrane."
            )
        )
    if kind == "ro_di" and survey.has_drinking_outlet:
        notes.append(
            Note(
                "drink_before_resin", "Take the drinking outlet before the resin: deionised water is not for drinking."
            )
        )
    notes.append(
        Note(
            "air_gap",
            "The drain needs an air gap; follow local codes and use licensed trades for plumbing and electrical work.",
        )
    )
