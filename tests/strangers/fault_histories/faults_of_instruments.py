"""Numbers that are wrong though the unit is sound."""

from typing import Final

from tests.strangers.fault_histories.fault import Fault
from tests.strangers.fault_histories.signs import Sign

Values = dict[str, float | None]
SALTS = ("feed TDS", "permeate TDS", "interstage TDS", "product TDS")


def exchanged(values: Values, days: float) -> None:
    """Whoever reads writes the two into each other's columns from now on."""
    if "feed TDS" in values and values["feed TDS"] is not None:
        values["feed TDS"], values["permeate TDS"] = values["permeate TDS"], values["feed TDS"]


def set_to_conductivity(values: Values, days: float) -> None:
    """The meter shows uS/cm, and the log still has the old heading."""
    for column in SALTS:
        value = values.get(column)
        if value is not None:
            values[column] = 2.0 * value


def probe_drifts(values: Values, days: float) -> None:
    """The probe in the permeate is coated and shows a fifth of what is there."""
    value = values.get("permeate TDS")
    if value is not None:
        values["permeate TDS"] = round(0.2 * value)


def new_counter(values: Values, days: float) -> None:
    """Counts from nothing again, at about the old pace."""
    if values.get("totaliser") is not None:
        values["totaliser"] = 16.0 * days


FAULTS_OF_INSTRUMENTS: Final = (
    Fault(
        "feed and permeate exchanged",
        "A new helper writes the feed into the permeate's column and the other way round.",
        "minor", "planted", ("feed and permeate exchanged", "value mistyped"), (Sign("passage", over=5.0),), times=1,
        slip=exchanged,
    ),
    Fault(
        "meter set to another scale",
        "The pocket meter was set to conductivity: all its numbers are twice what they were.",
        "minor", "reef", ("meter wrong", "feed water changed"), (Sign("feed TDS", over=1.6),),
        slip=set_to_conductivity,
    ),
    Fault(
        "totaliser replaced",
        "The counter was replaced and starts from nothing.",
        "minor", "reef", ("totaliser replaced", "value mistyped"), (Sign("totaliser", under=0.7),), times=1,
        slip=new_counter,
    ),
    Fault(
        "permeate probe drifts",
        "The fixed probe behind the membrane is coated: it shows a fifth of the salt that is there.",
        "minor", "small reef", ("meter wrong", "value mistyped"), (Sign("passage", under=0.5),),
        slip=probe_drifts,
    ),
)  # fmt: skip
