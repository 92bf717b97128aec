"""Fields for what people read at a unit, each in the unit of measure of their own meter."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django import forms

from accounts.language import gettext, gettext_noop
from accounts.pages.forms import PageForm
from fleet.intake.names import public_name
from fleet.pages.units import as_written
from fleet.services.words import TO_READ

_TDS: Final = (("ppm", "ppm (mg/L)"), ("uS/cm", as_written("uS/cm")))
_PRESSURE: Final = (("bar", "bar"), ("psi", "psi"), ("kPa", "kPa"))
_CHLORINE: Final = (("mg/L", "mg/L (ppm)"),)
_UNITS: Final[Mapping[str, Sequence[tuple[str, str]]]] = {
    "feed_tds": _TDS,
    "permeate_tds": _TDS,
    "interstage_tds": _TDS,
    "product_tds": _TDS,
    "inlet_pressure": _PRESSURE,
    "temperature": tuple((unit, as_written(unit)) for unit in ("degC", "degF")),
    "feed_total_chlorine": _CHLORINE,
    "carbon_outlet_total_chlorine": _CHLORINE,
    "remineralised_ph": (("", "pH"),),
    "remineralised_tds": _TDS,
    "uv_intensity_fraction": (("%", "%"),),
    "resin_colour_changed_fraction": (("%", "%"),),
    "totaliser": (("L", "L"), ("m3", as_written("m3")), ("gal", "gal")),
}
_LABELS: Final = {public_name(column): text for column, text in TO_READ.items()} | {
    "inlet_pressure": gettext_noop("the pressure at the membrane"),
    "temperature": gettext_noop("the temperature of the tap water"),
    "totaliser": gettext_noop("the count of the water meter"),
}
_US_UNITS: Final = {"psi", "degF", "gal"}


@dataclass(frozen=True, slots=True)
class Gauge:
    """One quantity of the form: its two fields, what it is called, and what was read last."""

    name: str
    label: str
    number: forms.BoundField
    unit: forms.BoundField
    last: str
    last_at: str


def gauges_of(unit: Mapping[str, Any]) -> list[str]:
    """What can be read at a unit, in the order of the water, from what the API answers of it."""
    roles: dict[str, set[str]] = {}
    for position in unit["positions"]:
        roles.setdefault(position["stage"], set()).add(position["role"])
    is_there = {
        "feed_tds": True,
        "permeate_tds": "membrane" in roles,
        "interstage_tds": "lag" in roles.get("resin", ()),
        "product_tds": "resin" in roles,
        "resin_colour_changed_fraction": "resin" in roles,
        "inlet_pressure": bool(unit["has_pressure_gauge"]),
        "temperature": True,
        "carbon_outlet_total_chlorine": "carbon" in roles,
        "remineralised_ph": "remineralisation" in roles,
        "remineralised_tds": "remineralisation" in roles,
        "uv_intensity_fraction": "uv" in roles,
        "totaliser": unit["totaliser"] != "none",
    }
    return [name for name, there in is_there.items() if there]


class GaugeForm(PageForm):
    """What was read, number and unit beside one another; the API says what cannot be."""

    def __init__(self, *args: Any, unit: Mapping[str, Any], us_units: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.names = gauges_of(unit)
        self.latest: Mapping[str, Any] = unit["latest_reading"] or {}
        for name in self.names:
            choices = _UNITS[name]
            usual = [code for code, _ in choices if (code in _US_UNITS) == us_units] or [choices[0][0]]
            sent = (self.latest.get("as_sent") or {}).get(name, {}).get("unit", "")
            chosen = sent if sent in dict(choices) else usual[0]
            self.fields[name] = forms.CharField(
                required=False,
                max_length=20,
                widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            )
            self.fields[f"{name}_unit"] = forms.ChoiceField(choices=choices, required=False, initial=chosen)

    def gauges(self) -> list[Gauge]:
        """The quantities, as they are shown."""
        return [
            Gauge(
                name=name,
                label=gettext(_LABELS[name]),
                number=self[name],
                unit=self[f"{name}_unit"],
                last=_as_read(self.latest, name),
                last_at=str(self.latest.get("taken_at", "")),
            )
            for name in self.names
        ]

    def quantities(self) -> dict[str, str]:
        """What was read, as the API takes it: "572 uS/cm"; a comma is understood as a point."""
        sent = self.sent()
        return {
            name: f"{str(sent[name]).strip().replace(',', '.')} {sent.get(f'{name}_unit', _UNITS[name][0][0])}"
            for name in self.names
            if str(sent.get(name, "")).strip()
        }


def _as_read(reading: Mapping[str, Any], name: str) -> str:
    """What was read last, in the digits and the unit it was sent in."""
    sent = (reading.get("as_sent") or {}).get(name)
    return as_written(f"{sent['value']} {sent['unit']}") if sent else ""
