"""What a reading can hold: one record for each quantity, from which every room takes what it needs to know of it.

The columns of the model, what intake reads and flags, the fields of the API, the columns of the fleet files, what the
forecast and the indicators leave out, the facts of the diagnosis and the nomenclature are made from these records, so a
new quantity is one record here and a migration. Rules that are about one quantity by nature (that permeate is not
saltier than feed) stay where the rule is.

There is one possible range, that of the kind. What lies outside cannot be true: intake refuses it, and the forecast and
the indicators leave it out. Nothing that is let in at the door is called impossible behind it. What is possible but not
usual is flagged when it comes in and stored; whether it is believed, the readings around it decide.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.kinds import CHLORINE, FLOW, FRACTION, MINUTES, PH, PRESSURE, TDS, TEMPERATURE, VOLUME, Kind

_PSI: Final = KILOPASCAL_PER_PSI

# The ranges are common practice without a source, but for the freezing of water and the 45 degC of membrane labels. A
# house line has up to 150 psi gauge, a small unit on brackish water a pump for up to 300 psi.
LINE_PRESSURE: Final = PRESSURE.within(0.0, 150 * _PSI, usual_low=20 * _PSI, usual_high=80 * _PSI)
INLET_PRESSURE: Final = PRESSURE.within(0.0, 300 * _PSI, usual_low=25 * _PSI, usual_high=125 * _PSI)
TANK_PRESSURE: Final = PRESSURE.within(0.0, 150 * _PSI, usual_low=0.0, usual_high=80 * _PSI)
WATER_TEMPERATURE: Final = TEMPERATURE.within(0.0, 45.0, usual_low=2.0, usual_high=35.0)
# Sea water has 35000 mg/L, a brackish well a tenth of it; what has passed a membrane stays well below half of that.
FEED_TDS: Final = TDS.within(0.0, 50000.0, usual_low=5.0, usual_high=2000.0)
PERMEATE_TDS: Final = TDS.within(0.0, 20000.0, usual_low=0.0, usual_high=300.0)
CONCENTRATE_TDS: Final = TDS.within(0.0, 50000.0, usual_low=5.0, usual_high=6000.0)
PRODUCT_FLOW: Final = FLOW.within(0.0, 50000.0, usual_low=0.0, usual_high=4000.0)
WASTE_FLOW: Final = FLOW.within(0.0, 100000.0, usual_low=0.0, usual_high=12000.0)
# What a reagent kit shows without dilution, and twice what is allowed in drinking water (from memory).
FEED_CHLORINE: Final = CHLORINE.within(0.0, 10.0, usual_low=0.0, usual_high=5.0)
CHLORINE_AFTER_CARBON: Final = CHLORINE.within(0.0, 10.0, usual_low=0.0, usual_high=3.0)
TAP_PH: Final = PH.within(4.0, 11.0, usual_low=6.0, usual_high=9.5)
PRODUCT_PH: Final = PH.within(3.0, 12.0, usual_low=4.5, usual_high=9.5)
COUNTER: Final = VOLUME.within(0.0, 1e9)
SHARE: Final = FRACTION.within(0.0, 1.0, usual_low=0.0, usual_high=1.0)

SETTLING_MINUTES: Final = 5.0
"""Flow time before TDS and pressures stand still (common practice, no source). Samples and flows of the minutes before
show the standstill, not the unit."""

_PRESSURE_SLIPS: Final = (6.895, 100.0, 14.5)
_FLOW_SLIPS: Final = (3.785, 1.44, 1440.0)


@dataclass(frozen=True)
class Quantity:
    """One quantity of a reading.

    Attributes
    ----------
    name : str
        Name in code and of the stored column, with the unit at its end.
    symbol : str
        In formulas.
    kind : Kind
        Unit, spellings, the possible range and the usual one.
    meaning : str
        What is measured, and where.
    needs_flow : bool
        A value read while nothing flows says nothing of the unit.
    needs_flushing : bool
        A value of the first `SETTLING_MINUTES`, or of a sample taken without flushing, shows the standstill.
    zero_is_no_reading : bool
        Zero is what a probe shows in air, and no water has it there: it is kept as it was read and counts nowhere.
    slip_log : float, optional
        How far the logarithm of a value may lie from the median of its neighbours in time before it counts as a slip;
        None where values may jump.
    unit_slips : tuple of float
        Factors by which a value is off when it was meant in another unit.
    also : str
        Other names that people write over a column of it, separated by commas. A name of several quantities is that
        whose unit the column has.
    """

    name: str
    symbol: str
    kind: Kind
    meaning: str
    needs_flow: bool = False
    needs_flushing: bool = False
    zero_is_no_reading: bool = False
    slip_log: float | None = None
    unit_slips: tuple[float, ...] = ()
    also: str = ""


READING_QUANTITIES: Final = (
    Quantity(
        "line_pressure_kpa", "P_line", LINE_PRESSURE, "supply pressure before the unit, gauge, while flowing",
        slip_log=0.75, unit_slips=_PRESSURE_SLIPS,
        also="mains pressure, supply pressure, incoming pressure, tap pressure, house pressure",
    ),
    Quantity(
        "prefilter_outlet_pressure_kpa", "P_pre", LINE_PRESSURE, "pressure behind sediment and carbon, gauge",
        needs_flow=True, slip_log=1.1, unit_slips=_PRESSURE_SLIPS,
        also="pressure after prefilter, pressure after prefilters, pressure behind prefilters, "
        "after prefilters, pressure after filters, pressure after filter",
    ),
    Quantity(
        "inlet_pressure_kpa", "P_f", INLET_PRESSURE, "pressure at the membrane inlet, gauge",
        needs_flow=True, slip_log=1.1, unit_slips=_PRESSURE_SLIPS,
        also="membrane pressure, membrane inlet pressure, pump pressure",
    ),
    Quantity(
        "tank_pressure_kpa", "P_p", TANK_PRESSURE,
        "pressure of the storage tank, gauge: back-pressure on the permeate",
        also="tank",
    ),
    Quantity(
        "temperature_degc", "T", WATER_TEMPERATURE, "temperature of the feed",
        also="temp, water temp, water temperature, feed temp, feed temperature",
    ),
    Quantity(
        "feed_tds_mg_per_l", "C_f", FEED_TDS,
        "TDS of the feed; all TDS is half the conductivity at 25 degC in uS/cm",
        zero_is_no_reading=True, slip_log=0.8,
        also="tap tds, tds in, feed water tds, source tds, mains tds, raw water tds, feed conductivity, "
        "tap conductivity",
    ),
    Quantity(
        "permeate_tds_mg_per_l", "C_p", PERMEATE_TDS, "TDS behind the membrane, before resin, after flushing",
        needs_flow=True, needs_flushing=True, slip_log=1.1,
        also="ro tds, membrane tds, tds after membrane, tds after ro, permeate conductivity",
    ),
    Quantity(
        "permeate_tds_at_start_mg_per_l", "C_p0", PERMEATE_TDS,
        "TDS of the permeate in the first minute after standstill",
    ),
    Quantity(
        "interstage_tds_mg_per_l", "C_lead", PERMEATE_TDS, "TDS at the outlet of the lead resin",
        needs_flow=True, needs_flushing=True,
        also="tds after lead resin, tds after first resin, tds between resins",
    ),
    Quantity(
        "product_tds_mg_per_l", "C_prod", PERMEATE_TDS, "TDS of the product, behind the last resin",
        needs_flow=True, needs_flushing=True,
        also="di tds, tds after di, tds after resin, product water tds, final tds, "
        "product conductivity",
    ),
    Quantity(
        "concentrate_tds_mg_per_l", "C_c", CONCENTRATE_TDS, "TDS of the concentrate (waste)",
        needs_flow=True, zero_is_no_reading=True,
        also="waste tds, drain tds, reject tds, brine tds",
    ),
    Quantity(
        "permeate_flow_l_per_day", "Q_p", PRODUCT_FLOW, "flow of the permeate",
        needs_flow=True, slip_log=1.0, unit_slips=_FLOW_SLIPS,
        also="product flow, production, membrane flow, ro flow",
    ),
    Quantity(
        "concentrate_flow_l_per_day", "Q_c", WASTE_FLOW, "flow of the concentrate to drain",
        needs_flow=True, slip_log=1.0, unit_slips=_FLOW_SLIPS,
        also="drain flow, waste flow, reject flow, brine flow, waste water flow",
    ),
    Quantity(
        "feed_free_chlorine_mg_per_l", "Cl_f,free", FEED_CHLORINE, "free chlorine in the feed, as Cl2", slip_log=2.0,
        also="tap free chlorine, free chlorine in, feed water free chlorine",
    ),
    Quantity(
        "feed_total_chlorine_mg_per_l", "Cl_f,tot", FEED_CHLORINE, "total chlorine in the feed, as Cl2", slip_log=2.0,
        also="tap total chlorine, total chlorine in, feed water total chlorine",
    ),
    Quantity(
        "interstage_chlorine_mg_per_l", "Cl_lead", CHLORINE_AFTER_CARBON,
        "total chlorine behind the lead carbon, as Cl2",
        also="total chlorine after lead carbon, total chlorine between carbons",
    ),
    Quantity(
        "carbon_outlet_free_chlorine_mg_per_l", "Cl_c,free", CHLORINE_AFTER_CARBON,
        "free chlorine behind the last carbon, as Cl2",
        also="free chlorine after carbon, free chlorine behind carbon",
    ),
    Quantity(
        "carbon_outlet_total_chlorine_mg_per_l", "Cl_c,tot", CHLORINE_AFTER_CARBON,
        "total chlorine behind the last carbon, as Cl2",
        also="total chlorine after carbon, total chlorine behind carbon",
    ),
    Quantity(
        "feed_ph", "pH_f", TAP_PH, "pH of the feed",
        also="tap ph",
    ),
    Quantity("product_ph", "pH_prod", PRODUCT_PH, "pH of the product"),
    Quantity(
        "remineralised_ph", "pH_min", PRODUCT_PH, "pH behind the remineralising cartridge",
        also="ph after remineralisation, ph after remineralization, ph after calcite, ph after mineral cartridge",
    ),
    Quantity(
        "remineralised_tds_mg_per_l", "C_min", PERMEATE_TDS, "TDS behind the remineralising cartridge",
        needs_flow=True, needs_flushing=True,
        also="tds after remineralisation, tds after remineralization, tds after calcite, tds after mineral cartridge",
    ),
    Quantity(
        "uv_intensity_fraction", "I_UV", SHARE,
        "intensity of the UV lamp as its monitor shows it, over that of a new one",
        also="uv intensity, uv sensor, lamp intensity",
    ),
    Quantity(
        "totaliser_l", "V", COUNTER, "volume counter; the unit says which stream it counts",
        also="totaliser reading, totalizer, totalizer reading, counter, counter reading, meter, "
        "meter reading, water meter, water meter reading, volume counter",
    ),
    Quantity(
        "resin_colour_changed_fraction", "x_R", SHARE,
        "share of the first resin bed whose indicator has changed colour, 0 to 1",
        also="resin colour, resin color, resin colour changed, resin color changed, colour change of resin",
    ),
)  # fmt: skip
"""Every quantity of a reading, in the order in which people are shown them."""

RUNNING_TIME: Final = Quantity("minutes_since_start", "t", MINUTES, "time the unit had run when it was read")
"""Read with the others, but a state of the unit: it makes no reading by itself, and has a name without a unit."""


def names_of(quantities: Iterable[Quantity]) -> tuple[str, ...]:
    """Return the names of some quantities, in their order.

    Examples
    --------
    >>> names_of([RUNNING_TIME])
    ('minutes_since_start',)
    """
    return tuple(quantity.name for quantity in quantities)
