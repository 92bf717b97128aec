"""Whatever comes in is stored, refused by row, or refused as a whole with a sentence; nothing else ever happens."""

import csv
import io
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from accounts.errors import InvalidInput
from accounts.models import Company
from fleet.intake import feed_water_log, readings_log
from fleet.intake.cells import CellError, number_digits
from fleet.intake.names import spoken
from fleet.intake.payloads import take_readings, take_samples
from fleet.intake.readings import COLUMNS, WORDS
from fleet.intake.tables import read_table
from fleet.models import Reading
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)

pytestmark = [pytest.mark.django_db, pytest.mark.interface]
anything = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@pytest.fixture
def stocked(company: Company) -> Company:
    site = factories.SiteFactory(company=company, code="S-1")
    factories.UnitFactory(company=company, site=site, code="RX-7", commissioned_on=date(2020, 1, 1))
    return company


def take(module: Any, company: Company, content: bytes) -> None:
    """Read a file; what is stored and refused must add up to the rows."""
    try:
        batch = module.read_log(company=company, by=None, name="log.csv", content=content, now=NOW)
    except InvalidInput:
        return
    assert batch.rows == batch.stored + batch.duplicates + batch.refused
    assert batch.refused_rows.count() == batch.refused
    for row in batch.refused_rows.all():
        for fault in row.faults:
            assert fault["field"]
            assert fault["sentence"].endswith((".", "?"))


@anything
@given(content=st.binary(max_size=400))
@example(content=b"\xef\xbb\xbf")
@example(content=b'unit,taken at,inlet pressure [psi]\r\n"RX-7""",2026-01-01 10:00,1\r\n')
def test_any_bytes(stocked: Company, content: bytes) -> None:
    take(readings_log, stocked, content)
    take(feed_water_log, stocked, content)


UNITS = ("psi", "ppm", "L", "degF", "")
HEADERS = [*(f"{spoken(name)} [{unit}]" for name in COLUMNS for unit in UNITS), *WORDS]
CELLS = ["RX-7", "", "2026-03-04 10:00", "04.03.2026 10:00", "60", "-1", "6,0", "1e308", "yes", "open"]
headers = st.one_of(st.sampled_from(HEADERS), st.text(max_size=20))
cells = st.one_of(st.sampled_from(CELLS), st.floats().map(str), st.text(max_size=12))


@anything
@given(
    separator=st.sampled_from([",", ";", "\t"]),
    more=st.lists(headers, max_size=6),
    rows=st.lists(st.lists(cells, max_size=9), max_size=6),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"]),
)
def test_any_table(stocked: Company, separator: str, more: list[str], rows: list[list[str]], encoding: str) -> None:
    lines = [separator.join(["unit", "taken at", *more]), *(separator.join(row) for row in rows)]
    take(readings_log, stocked, "\n".join(lines).encode(encoding, "replace"))


values = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=12),
        st.sampled_from(["60 psi", "3.1 bar", "11 ppm", "RX-7", "S-1", "2026-03-04T10:00:00Z"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.one_of(st.sampled_from(["value", "unit"]), st.text(max_size=6)), inner, max_size=3),
    ),
    max_leaves=6,
)
names = st.one_of(st.sampled_from(["unit", "site", *WORDS, *COLUMNS, "hardness", "ph"]), st.text(max_size=10))


@anything
@given(rows=st.lists(st.one_of(values, st.dictionaries(names, values, max_size=8)), max_size=4))
def test_any_payload(stocked: Company, rows: list[Any]) -> None:
    for store in (
        lambda: take_readings(company=stocked, by=None, rows=rows, source="meter", now=NOW),
        lambda: take_samples(company=stocked, by=None, rows=rows, now=NOW),
    ):
        try:
            batch = store()
        except InvalidInput:
            continue
        assert batch.rows == len(rows) == batch.stored + batch.duplicates + batch.refused


@anything
@given(
    kpa=st.floats(min_value=0, max_value=1000, allow_nan=False),
    unit=st.sampled_from([("psi", 6.894757293168361), ("bar", 100.0), ("kPa", 1.0)]),
    hour=st.integers(min_value=0, max_value=23),
)
def test_what_can_be_true_is_stored_once_as_it_was_sent(
    stocked: Company, kpa: float, unit: tuple[str, float], hour: int
) -> None:
    Reading.objects.all().delete()
    digits = f"{kpa / unit[1]:.3f}"
    content = f"unit,taken at,inlet pressure [{unit[0]}]\nRX-7,2026-02-01 {hour:02d}:00,{digits}\n".encode()
    for _ in range(2):
        readings_log.read_log(company=stocked, by=None, name="log.csv", content=content, now=NOW)
    reading = Reading.objects.get()
    assert reading.inlet_pressure_kpa == pytest.approx(float(digits) * unit[1], rel=1e-9, abs=1e-12)
    assert reading.as_sent["inlet_pressure"] == {"value": digits, "unit": unit[0]}


@settings(deadline=None)
@given(text=st.text(max_size=15), comma=st.booleans())
def test_a_number_is_read_as_one_number_or_refused(text: str, comma: bool) -> None:
    try:
        digits = number_digits(text, decimal_comma=comma)
    except CellError:
        return
    float(digits)


texts = st.text(alphabet=st.characters(exclude_characters="\x00\r\n", exclude_categories=["Cs"]), max_size=8)


@settings(deadline=None)
@given(rows=st.lists(st.lists(texts, min_size=2, max_size=4), min_size=1, max_size=5))
def test_a_quoted_cell_keeps_its_separators(rows: list[list[str]]) -> None:
    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows([["a", "b", "c", "d"], *rows])
    table = read_table(out.getvalue().encode())
    expected = [tuple(cell.strip() for cell in row) for row in rows]
    assert [cells for _, cells in table.rows] == [row for row in expected if any(row)]
