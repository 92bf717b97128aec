"""Descriptions in the OpenAPI document of fields that say nothing of themselves, mostly columns of the database.

A field that means the same wherever it stands is described once, by its name; one that does not by its schema and name.
Only schemas of this room are described here, and a description that the field itself brings is kept.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from rest_framework import serializers

DESCRIPTIONS: Final[Mapping[str, str]] = {
    "access_notes": "how to get in, and whom to ask for",
    "action": "what to do once it is confirmed",
    "address": "street and place, as on a letter",
    "as_of": "day on which the forecast was made",
    "as_sent": "digits and unit of every value as they came, by field",
    "batch": "id of the log file or list it came in",
    "brought_to_25_degc_by": "factor by which a conductivity was brought to 25 degC; absent where the meter does that",
    "cause": "code of the likeliest cause",
    "caution": "what to mind at the work",
    "cautions": "what a client should know beside it",
    "client": "id of the client whose site it is",
    "client_sentence": "the same for the client, without terms of the trade",
    "closed_at": "since when the pattern is gone; null while it is there",
    "closes": "time at which work must have ended, such as 17:00; null where the site is closed",
    "code": "stable name that a program can compare",
    "commissioned_on": "day on which it went into service",
    "compensates_temperature": "whether it shows conductivity and TDS as at 25 degC",
    "computed_at": "when it was computed",
    "concentrate_langelier_index": "above 0 the concentrate can form lime; null where the water is not known enough",
    "confidence": "how surely the pattern is there, 0 to 1",
    "confirming_check": "what settles whether it is so",
    "consumables_per_1000_l": "cartridges for 1000 litres of product water, in the company's currency",
    "consumables_per_year": "cartridges, in the company's currency",
    "continues": "id of the placement that it continues after a rotation; null for a fresh cartridge",
    "corrected_by": "id of the row that corrects this one; null where it holds",
    "corrects": "id of the row that this one corrects",
    "count": "how many of it are needed",
    "coverage_80": "the same of the 80 % interval",
    "coverage_90": "the same of the 90 % interval",
    "created_at": "when it was stored",
    "daily_load": "what passes through it in a day, in `daily_load_unit`",
    "daily_load_unit": "unit of the load: L/day of feed or permeate, mg/day of chlorine, or meq/day of ions",
    "decided_at": "when somebody confirmed or dismissed it",
    "driver": "what is expected to end its service",
    "duplicates": "rows that were stored already, and were not stored again",
    "earlier_cartridges": "how many cartridges that stood here before are known",
    "field": "name of the field that looks doubtful or was refused",
    "findings": "what is being looked into, in sentences for the client",
    "first_cut": "first of the monthly days at which the past is forecast again",
    "first_day": "first day on which it holds",
    "flagged": "rows that were stored although something looks doubtful",
    "forecasts": "how many forecasts were judged",
    "from_days": "shortest of the usual range",
    "group": "which positions: all, those of a stage or role, or those with so many readings",
    "has_automatic_shutoff_valve": "whether a valve closes the feed when the tank is full",
    "has_booster_pump": "whether a pump raises the pressure before the membrane",
    "has_check_valve": "whether a valve keeps the water of the tank from running back",
    "has_drinking_outlet": "whether people drink from it",
    "has_float_valve": "whether a float closes the feed when the container is full",
    "has_pressure_gauge": "whether it shows its own inlet pressure",
    "id": "number of the row; it never changes",
    "installer_sentence": "what is said of it, for whoever works at the unit",
    "instrument": "id of the meter or gauge it was read with; null where it is not known",
    "is_active": "whether it is still in use; one that is not stays for the records",
    "is_latest": "whether none is newer",
    "item": "id of the item of the catalogue",
    "item_code": "its code in the catalogue",
    "item_name": "its name in the catalogue",
    "last_cut": "last of the monthly days at which the past is forecast again",
    "last_seen_at": "time of the newest reading that shows it",
    "limit_source": "where its limit comes from",
    "line": "line in the file, the header being 1, or place in the list from 1",
    "measured_by": "who took or analysed the sample",
    "median_error_days": "median absolute error of the median date in days, of the lives that were seen to end",
    "method": "how it was measured, such as a drop test or a laboratory",
    "micron_rating": "size of the particles it holds back, in micrometres",
    "minutes_since_start": "how long water had flowed when it was read",
    "name": "what people call it",
    "newest_reading_age_days": "age of the newest reading used; null where there is none",
    "no_date_reason": "why there is no date; empty where there is one",
    "note": "free text of the person who sends it",
    "notes": "free text for the company's own people",
    "numbers": "the values it rests on, by name",
    "opened_at": "when the pattern was first seen",
    "order": "place in the train, counted from the feed",
    "p05": "day by which it is exhausted with a probability of 5 %",
    "p10": "day by which it is exhausted with a probability of 10 %",
    "p25": "day by which it is exhausted with a probability of 25 %",
    "p50": "day by which it is exhausted with a probability of 50 %: the median",
    "p75": "day by which it is exhausted with a probability of 75 %",
    "p90": "day by which it is exhausted with a probability of 90 %",
    "p95": "day by which it is exhausted with a probability of 95 %",
    "pack_size": "pieces in a pack; orders are in whole packs",
    "pattern": "code of what is seen",
    "person": "who read it, where the sender names somebody",
    "placed_at": "when it was placed there",
    "placement": "id of the placement that is forecast; null where nothing is installed",
    "places_that_taught": "how many positions of the company it was learned from",
    "position": "id of the position in the train",
    "position_count": "positions of the unit or site that were looked at",
    "probability_maximum_service_time_first": "how probable it is that its maximum service time ends it before wear "
    "does, 0 to 1",
    "quantity": "pieces of the item",
    "rated_recovery_fraction": "share of the feed that became permeate at the rated flow, 0 to 1",
    "rated_temperature": "temperature of the feed at the rated flow",
    "read_at": "time of the reading that the verdict rests on; null where there is none",
    "readings_left_out": "readings of this cartridge that were not used",
    "readings_used": "readings of this cartridge that were used",
    "reason": "why, in words for the installer",
    "reasons": "why an indicator cannot be had, by its name",
    "received_at": "when it reached this service",
    "recovery_fraction": "share of the feed that becomes permeate, 0 to 1",
    "reference": "the sender's own name for it: the same one twice is stored once",
    "refused": "rows that were not stored",
    "rejection_fraction": "share of the salt that the membrane holds back by its label, 0 to 1",
    "removed_at": "when it was removed; null while it is installed",
    "resin_capacity": "ions it takes up in each litre of resin until it is exhausted",
    "restrictor_ml_per_min": "size of the flow restrictor, mL/min",
    "retired_on": "day from which it is no longer in use; null while it is",
    "role": "'single', or 'lead' and 'lag' where two stand in series",
    "rows": "rows of the file or list, without the header",
    "rule": "row of the diagnosis table, such as D11",
    "running_cost_per_year": "cartridges and water, without labour and electricity, in the company's currency",
    "sampled_after_flush": "whether the permeate was sampled after some minutes of flow",
    "sentence": "what is said of it, in a sentence",
    "serial_or_lot": "serial or lot number on the cartridge",
    "site": "id of the site",
    "size": "what it must be able to do; empty where any will do",
    "stored": "rows that were stored",
    "taken_at": "when it was read or sampled",
    "tank_is_full": "whether the tank was full when it was read",
    "tank_volume": "volume of the storage tank",
    "to_days": "longest of the usual range",
    "unit": "id of the unit",
    "usual_run_hours_per_day": "hours a day that it runs at the usual temperature",
    "valid_for_trend": "whether the reading was steady enough to be compared with the baseline",
    "value": "the number, in the unit beside it",
    "water_per_year": "supply and drain of all the feed, in the company's currency",
    "winter_run_hours_per_day": "hours a day that it runs in the coldest water of the year",
    "AsSent.unit": "unit of measure as it was sent",
    "AsSent.value": "digits as they were sent",
    "CatalogueItem.code": "short name of the item, unique in the company",
    "Commissioning.unit": "id of the unit that was put into service",
    "Diagnosis.facts": "everything the rules were given, by name",
    "Diagnosis.indicators": "what engineering makes of the reading, by name",
    "Indicator.unit": "unit of measure; empty for ratios and fractions",
    "Indicators.values": "every indicator that could be computed, by name",
    "LeftOut.day": "day of the reading",
    "Life.days": "days until it is exhausted, most likely",
}

_ROOM: Final = "fleet.api."
_ROLES: Final = "Absent unless"
"""How the note on who reads a field begins; it stands behind a description, not in its place."""


def describe_fields(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Add the descriptions to an OpenAPI document: a postprocessing hook of its generator."""
    for name, schema in described_schemas(result):
        for field, properties in schema.get("properties", {}).items():
            text = DESCRIPTIONS.get(f"{name}.{field}") or DESCRIPTIONS.get(field)
            present = properties.get("description", "")
            if text is None or "$ref" in properties or (present and not present.startswith(_ROLES)):
                continue
            properties["description"] = f"{text}. {present}" if present else text
    return result


def described_schemas(document: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema of this room in an OpenAPI document, by the name of its serializer."""
    names = set(_serializer_names(serializers.BaseSerializer))
    for component, schema in document["components"]["schemas"].items():
        for name in (component, component.removeprefix("Patched").removesuffix("Request")):
            if name in names:
                yield name, schema
                break


def _serializer_names(serializer: type[Any]) -> Iterator[str]:
    children: list[type[Any]] = serializer.__subclasses__()
    for child in children:
        if child.__module__.startswith(_ROOM):
            yield child.__name__.removesuffix("Serializer")
        yield from _serializer_names(child)
