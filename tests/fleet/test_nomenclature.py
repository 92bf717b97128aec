"""The nomenclature is that of code, API and log headers, and leaves nothing out; the guide says of it what is true."""

import re
from pathlib import Path

import pytest
from drf_spectacular.generators import SchemaGenerator

from fleet.engineering.indicators import INDICATORS
from fleet.engineering.nomenclature import (
    INDICATOR_TERMS,
    ITEM_TERMS,
    READING_TERMS,
    TERMS,
    UNIT_TERMS,
    WATER_TERMS,
    Term,
)
from fleet.engineering.units import QUANTITY_KINDS, parse_header
from fleet.intake.feed_water_log import VOCABULARY as WATER_LOG
from fleet.intake.names import public_name, spoken
from fleet.intake.readings_log import VOCABULARY as READINGS_LOG
from fleet.management.commands.nomenclature import table
from fleet.models import CatalogueItem, FeedWaterSample, Reading, Unit

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"


def section() -> str:
    return GUIDE.read_text(encoding="utf-8").split("## Nomenclature\n")[1].split("\n## ")[0]


def test_the_rows_of_the_guide_are_among_those_the_code_prints() -> None:
    shown = [line for line in section().splitlines() if line.startswith("|")]
    assert len(shown) > 3, "the guide shows its readers a few rows"
    assert set(shown) <= set(table().splitlines()), "take the rows from the output of `manage.py nomenclature`"


def test_the_places_of_the_guide_are_those_of_the_names() -> None:
    places = set(re.findall(r"`([a-z_]+)`", section().strip().rsplit("\n\n", 1)[1]))
    assert len(places) > 5
    assert places == {place for place in places if any(term.name.startswith(f"{place}_") for term in READING_TERMS)}


def test_every_stored_quantity_and_every_indicator_stands_in_it_once() -> None:
    names = [term.name for term in TERMS]
    assert len(set(names)) == len(names)
    assert {term.name for term in READING_TERMS} == {*Reading.QUANTITIES, "minutes_since_start"}
    assert {term.name for term in WATER_TERMS} | {"temperature_degc"} == set(FeedWaterSample.QUANTITIES)
    assert {term.name for term in INDICATOR_TERMS} | {"rejection_fraction"} == set(INDICATORS)
    for model, terms in ((CatalogueItem, ITEM_TERMS), (Unit, UNIT_TERMS)):
        columns = {field.name for field in model._meta.get_fields() if field.get_internal_type() == "FloatField"}
        assert {term.name for term in terms} == columns


@pytest.mark.parametrize("term", TERMS, ids=lambda term: term.name)
def test_the_unit_is_that_at_the_end_of_the_name(term: Term) -> None:
    told = {
        "kPa": "_kpa", "degC": "_degc", "mg/L": "_mg_per_l", "mg/L as CaCO3": "_mg_per_l_as_caco3",
        "L/day": "_l_per_day", "L": "_l", "g": "_g", "um": "_um", "K": "_kelvin", "eq/L": "_eq_per_l", "NTU": "_ntu",
        "fraction": "_fraction", "pH": "ph", "min": "minutes_since_start", "h": "_hours", "-": "",
    }  # fmt: skip
    assert term.name.endswith(told[term.unit])
    assert term.symbol
    assert term.meaning


@pytest.mark.parametrize("term", [*READING_TERMS, *WATER_TERMS], ids=lambda term: term.name)
def test_a_log_header_of_that_name_is_read_as_that_column(term: Term) -> None:
    log = READINGS_LOG if term in READING_TERMS else WATER_LOG
    unit = next(spelling for spelling in QUANTITY_KINDS[term.name].spellings if spelling)
    name, _ = parse_header(f"{spoken(term.name)} [{unit}]", field="header")
    assert log.quantities[name] == term.name


def test_the_api_uses_those_names() -> None:
    schemas = SchemaGenerator().get_schema(request=None, public=True)["components"]["schemas"]
    for schema, terms in (
        ("Reading", READING_TERMS),
        ("FeedWaterSample", WATER_TERMS),
        ("CatalogueItem", ITEM_TERMS),
        ("Unit", UNIT_TERMS),
    ):
        assert {public_name(term.name) for term in terms} <= set(schemas[schema]["properties"])
