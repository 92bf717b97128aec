"""A log file of readings on its way into the records: what is stored, flagged, counted as known, refused."""

from datetime import UTC, date, datetime

import pytest

from accounts.day_alone import known_day
from accounts.errors import InvalidInput
from accounts.models import Company, Membership
from fleet.intake.readings_log import read_log
from fleet.models import IntakeBatch, Reading, Unit
from tests import factories

pytestmark = pytest.mark.interface

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def unit(company: Company) -> Unit:
    site = factories.SiteFactory(company=company, time_zone="Europe/Berlin")
    return factories.UnitFactory(site=site, code="RX-7", commissioned_on=date(2025, 1, 10))


def load(company: Company, by: Membership | None, text: str | bytes, name: str = "log.csv") -> IntakeBatch:
    content = text if isinstance(text, bytes) else text.encode()
    return read_log(company=company, by=by, name=name, content=content, now=NOW)


def faults(batch: IntakeBatch) -> list[tuple[int, str, str]]:
    return [(row.line, fault["field"], fault["code"]) for row in batch.refused_rows.all() for fault in row.faults]


def test_a_row_is_stored_in_si_with_the_digits_it_came_with(unit: Unit, owner: Membership) -> None:
    batch = load(
        unit.company,
        owner,
        "unit,taken at,reference,person,inlet pressure [psi],temperature [degF],permeate flow [gpd],feed TDS [ppm]\n"
        "RX-7,2026-03-04 14:05,A1,Ines,60,59,75,210\n",
    )
    assert (batch.rows, batch.stored, batch.refused, batch.duplicates, batch.flagged) == (1, 1, 0, 0, 0)
    reading = Reading.objects.get()
    # 1 psi = 6.894757293168 kPa exactly by the definitions of pound and inch (NIST SP 811); 59 degF is 15 degC.
    assert reading.inlet_pressure_kpa == pytest.approx(60 * 6.894757293168, rel=1e-12)
    assert reading.temperature_degc == 15.0
    # 1 US gallon = 3.785411784 L exactly (NIST SP 811).
    assert reading.permeate_flow_l_per_day == pytest.approx(75 * 3.785411784, rel=1e-12)
    assert reading.feed_tds_mg_per_l == 210.0
    assert reading.as_sent["inlet_pressure"] == {"value": "60", "unit": "psi"}
    # Berlin is one hour ahead of UTC in early March.
    assert reading.taken_at == datetime(2026, 3, 4, 13, 5, tzinfo=UTC)
    assert (reading.person, reading.reference, reading.source) == ("Ines", "A1", "import")
    assert (reading.batch, reading.line) == (batch, 2)


def test_a_row_that_only_says_how_long_the_unit_had_run_is_no_reading(unit: Unit) -> None:
    head = "unit,taken at,minutes since start [min],feed TDS [ppm]\n"
    batch = load(unit.company, None, f"{head}RX-7,2026-03-04 14:05,20,\nRX-7,2026-03-04 15:05,20,210\n")
    assert batch.stored == 1
    assert faults(batch) == [(2, "row", "no_value")]


def test_columns_in_any_order_and_case_with_byte_order_mark_semicolons_and_decimal_commas(unit: Unit) -> None:
    text = '\ufeffFeed TDS [ppm];Taken At;UNIT;Inlet Pressure [Bar];note\n210,5;2026-03-04 14:05;rx-7;4,1;"a; b"\n\n'
    batch = load(unit.company, None, text)
    assert faults(batch) == []
    reading = Reading.objects.get()
    assert reading.inlet_pressure_kpa == pytest.approx(410.0)
    assert reading.feed_tds_mg_per_l == 210.5
    assert reading.as_sent["inlet_pressure"] == {"value": "4.1", "unit": "Bar"}
    assert reading.note == "a; b"


def test_tabs_and_windows_1252_are_read(unit: Unit) -> None:
    text = "unit\ttaken at\ttemperature [°C]\tperson\nRX-7\t2026-03-04T14:05+01:00\t12.5\tJürgen\n"
    batch = load(unit.company, None, text.encode("cp1252"))
    assert faults(batch) == []
    reading = Reading.objects.get()
    assert (reading.temperature_degc, reading.person) == (12.5, "Jürgen")


@pytest.mark.parametrize(
    ("header", "cell", "field", "code", "sentence"),
    [
        ("inlet pressure [psi]", "600", "inlet pressure [psi]", "impossible_value", "600 psi"),
        ("permeate flow [gpd]", "-5", "permeate flow [gpd]", "impossible_value", "0 to 50000 L/day"),
        ("inlet pressure [psi]", "sixty", "inlet pressure [psi]", "not_a_number", "is not a number"),
        ("inlet pressure [psi]", '"6,0"', "inlet pressure [psi]", "not_a_number", "point for decimals"),
        ("inlet pressure [psi]", "1e999", "inlet pressure [psi]", "impossible_value", "finite"),
        ("temperature [degC]", "48", "temperature [degC]", "impossible_value", "0 to 45"),
        ("state", "boiling", "state", "unknown_word", "flowing"),
        ("tank is full", "perhaps", "tank is full", "neither_yes_nor_no", "neither yes nor no"),
        ("instrument", "Nobody's", "instrument", "unknown_instrument", "no instrument"),
    ],
)
def test_a_cell_that_cannot_be_is_refused_with_its_field_and_a_sentence(
    unit: Unit, header: str, cell: str, field: str, code: str, sentence: str
) -> None:
    batch = load(unit.company, None, f"unit,taken at,feed TDS [ppm],{header}\nRX-7,2026-03-04 14:05,200,{cell}\n")
    assert faults(batch) == [(2, field, code)]
    assert sentence in batch.refused_rows.get().faults[0]["sentence"]
    assert batch.refused_rows.get().row["unit"] == "RX-7"
    assert not Reading.objects.exists()


@pytest.mark.parametrize(
    ("when", "code", "sentence"),
    [
        ("2026-03-10 13:30", "in_the_future", "in the future"),
        ("2027-03-04 14:05", "in_the_future", "in the future"),
        ("2024-12-31 10:00", "before_commissioning", "2025-01-10"),
        ("2026-02-30 10:00", "unreadable_date", "exists"),
        ("03/04/2026 10:00", "unreadable_date", "day/month or month/day"),
        ("2026-03-04+01:00", "unreadable_date", "no time of day"),
        ("2026-02-30", "unreadable_date", "exists"),
        ("2026-03-11", "in_the_future", "2026-03-11 is in the future"),
        ("2024-12-31", "before_commissioning", "2025-01-10"),
        ("last Monday", "unreadable_date", "2026-03-04 14:05"),
        ("", "missing", "no date"),
        # Clocks in Germany went from 02:00 to 03:00 on 30 March 2025 (EU summer time: last Sunday of March).
        ("2025-03-30 02:30", "unreadable_date", "put forward"),
    ],
)
def test_a_moment_that_cannot_be_is_refused(unit: Unit, when: str, code: str, sentence: str) -> None:
    batch = load(unit.company, None, f"unit,taken at,feed TDS [ppm]\nRX-7,{when},200\n")
    assert [fault[2] for fault in faults(batch)] == [code]
    assert sentence in batch.refused_rows.get().faults[0]["sentence"]


def test_a_time_the_clock_showed_twice_is_taken_as_the_first_and_flagged(unit: Unit) -> None:
    # Clocks went back from 03:00 to 02:00 on 26 October 2025 (EU summer time: last Sunday of October).
    load(unit.company, None, "unit,taken at,feed TDS [ppm]\nRX-7,2025-10-26 02:30,200\n")
    reading = Reading.objects.get()
    assert reading.taken_at == datetime(2025, 10, 26, 0, 30, tzinfo=UTC)
    assert [flag["code"] for flag in reading.flags] == ["time_came_twice"]


def test_every_fault_of_a_row_is_told_and_the_other_rows_are_stored(unit: Unit) -> None:
    batch = load(
        unit.company,
        None,
        "unit,taken at,inlet pressure [psi],feed free chlorine [ppm],feed total chlorine [ppm]\n"
        "RX-8,2026-13-04 10:00,600,1,1\n"
        "RX-7,2026-03-04 10:00,60,1.0,0.4\n"
        "RX-7,2026-03-05 10:00,61,0.4,1.0\n",
    )
    assert faults(batch) == [
        (2, "unit", "unknown_unit"),
        (2, "taken at", "unreadable_date"),
        (2, "inlet pressure [psi]", "impossible_value"),
        (3, "feed free chlorine [ppm]", "free_chlorine_above_total"),
    ]
    assert "Did you mean 'RX-7'" in batch.refused_rows.get(line=2).faults[0]["sentence"]
    assert Reading.objects.get().inlet_pressure_kpa == pytest.approx(420.58, abs=0.01)
    assert (batch.rows, batch.stored, batch.refused) == (3, 1, 2)


@pytest.mark.parametrize(
    ("header", "sentence"),
    [
        ("inlet pressure", "inlet pressure"),
        ("inlet pressure [ppm]", "inlet pressure [ppm]"),
        ("inlet presure [psi]", "did you mean 'inlet pressure'"),
        ("permeate flow [gal/day]", "US or imperial"),
        ("permeate flow [gpm]", "US gpm"),
        ("temperature [delta_degF]", "temperature difference"),
        ("inlet pressure [psi],membrane inlet pressure [bar]", "both give the inlet pressure"),
        ("inlet pressure [psi", "brackets"),
    ],
)
def test_a_header_that_cannot_be_used_refuses_the_whole_file_by_name(unit: Unit, header: str, sentence: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        load(unit.company, None, f"unit,taken at,{header}\nRX-7,2026-03-04 10:00,1,1\n")
    assert sentence in " ".join(fault.sentence for fault in refused.value.faults)
    assert not IntakeBatch.objects.exists()


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty_file"),
        (b"\n \n;;\n", "empty_file"),
        (b"\x00\x01\x02PK", "not_text"),
        (b"\xff\xfe\xd8", "not_text"),
        (b'unit,taken at,feed TDS [ppm]\n"RX-7,2026', "broken_quotes"),
        (b"unit,taken at," + b"a," * 200_000 + b"\n", "too_many_columns"),
        (b"unit,taken at,feed TDS [ppm]\nRX-7,2026-03-04 10:00" + b",1" * 200_000 + b"\n", "too_many_columns"),
        (b"unit,taken at,feed TDS [ppm]\n" + b"\n" * 202_000, "too_many_rows"),
        (b"unit,taken at,feed TDS [ppm]\nRX-7," + b"x" * 10_001 + b",200\n", "cell_too_long"),
        (b"taken at,feed TDS [ppm]\n2026-03-04 10:00,200\n", "unusable_columns"),
        (b"unit,feed TDS [ppm]\nRX-7,200\n", "unusable_columns"),
    ],
)
def test_a_file_that_is_no_log_is_refused_as_a_whole(company: Company, content: bytes, code: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        load(company, None, content)
    assert refused.value.code == code


def test_the_same_file_twice_stores_nothing_twice_with_or_without_references(unit: Unit) -> None:
    text = (
        "reference,unit,taken at,inlet pressure [psi]\n"
        "A1,RX-7,2026-03-04 10:00,60\n"
        ",RX-7,2026-03-05 10:00,61\n"
        ",RX-7,2026-03-05 10:00,61\n"
        "A1,RX-7,2026-03-04 10:00,60.0\n"
    )
    first = load(unit.company, None, text)
    assert (first.stored, first.duplicates, first.refused) == (2, 2, 0)
    second = load(unit.company, None, text)
    assert (second.stored, second.duplicates, second.refused) == (0, 4, 0)
    reordered = "inlet pressure [psi];taken at;unit\n61;2026-03-05 10:00;RX-7\n"
    assert load(unit.company, None, reordered).duplicates == 1
    assert Reading.objects.count() == 2


def test_a_known_reference_with_other_values_is_a_conflict(unit: Unit) -> None:
    head = "reference,unit,taken at,inlet pressure [psi]\n"
    load(unit.company, None, head + "A1,RX-7,2026-03-04 10:00,60\n")
    batch = load(unit.company, None, head + "A1,RX-7,2026-03-04 10:00,66\nA1,RX-7,2026-03-04 10:30,60\n")
    assert [fault[2] for fault in faults(batch)] == ["reference_conflict"] * 2
    assert "60 psi, not 66 psi" in batch.refused_rows.get(line=2).faults[0]["sentence"]
    assert Reading.objects.get().inlet_pressure_kpa == pytest.approx(413.685, abs=0.001)


def test_a_known_reference_with_another_note_is_a_conflict_in_one_file_and_in_the_next(unit: Unit) -> None:
    head = "reference,unit,taken at,inlet pressure [psi],note\n"
    first = load(unit.company, None, head + "A1,RX-7,2026-03-04 10:00,60,cold\nA1,RX-7,2026-03-04 10:00,60,warm\n")
    assert (first.stored, first.refused) == (1, 1)
    blank = load(unit.company, None, head + "A2,RX-7,2026-03-04 11:00,60,\nA2,RX-7,2026-03-04 11:00,60,warm\n")
    assert (blank.stored, blank.refused) == (1, 1)
    second = load(unit.company, None, head + "A1,RX-7,2026-03-04 10:00,60,warm\nA1,RX-7,2026-03-04 10:00,60,cold\n")
    assert (second.stored, second.duplicates, second.refused) == (0, 1, 1)
    for batch, line in ((first, 3), (second, 2)):
        (fault,) = batch.refused_rows.get(line=line).faults
        assert (fault["field"], fault["code"]) == ("note", "reference_conflict")
        assert "with note 'cold', not 'warm'" in fault["sentence"]


def test_a_correction_is_a_new_row_and_the_old_one_stops_counting(unit: Unit) -> None:
    head = "reference,corrects,unit,taken at,inlet pressure [psi]\n"
    text = head + "A1,,RX-7,2026-03-04 10:00,6\nA2,A1,RX-7,2026-03-04 10:00,60\nA3,A2,RX-7,2026-03-04 10:00,61\n"
    batch = load(unit.company, None, text)
    assert (batch.stored, batch.refused) == (3, 0)
    assert Reading.objects.count() == 3
    assert [reading.reference for reading in Reading.objects.current()] == ["A3"]
    assert Reading.objects.get(reference="A2").corrects == Reading.objects.get(reference="A1")
    again = load(unit.company, None, head + "A4,A1,RX-7,2026-03-04 10:00,59\nA5,A9,RX-7,2026-03-04 10:00,59\n")
    assert [fault[2] for fault in faults(again)] == ["already_corrected", "unknown_reading"]
    assert load(unit.company, None, text).duplicates == 3


def test_tds_is_rebased_by_the_factor_of_the_meter_that_showed_it(unit: Unit) -> None:
    factories.InstrumentFactory(
        company=unit.company, unit=unit, name="Wall meter", tds_factor=0.7, measures=["permeate_tds_mg_per_l"]
    )
    factories.InstrumentFactory(company=unit.company, name="Hand meter", tds_factor=0.64, measures=[])
    load(
        unit.company,
        None,
        "unit,taken at,instrument,feed TDS [ppm],permeate TDS [ppm],product conductivity [uS/cm]\n"
        "RX-7,2026-03-04 10:00,,280,14,2\nRX-7,2026-03-05 10:00,hand meter,256,12.8,2\n",
    )
    fitted, hand = Reading.objects.order_by("taken_at")
    # A meter shows factor x conductivity: 14 ppm at 0.7 is 20 uS/cm, 10 mg/L on the 0.5 scale (engineering ref. 2.3).
    assert (fitted.feed_tds_mg_per_l, fitted.permeate_tds_mg_per_l) == (280.0, pytest.approx(10.0))
    assert (hand.feed_tds_mg_per_l, hand.permeate_tds_mg_per_l) == (pytest.approx(200.0), pytest.approx(10.0))
    assert hand.product_tds_mg_per_l == pytest.approx(1.0)
    assert hand.instrument is not None
    assert hand.as_sent["permeate_tds"] == {"value": "12.8", "unit": "ppm", "tds_factor": 0.64}


def test_a_meter_without_compensation_is_brought_to_25_degrees_by_iso_7888(unit: Unit) -> None:
    factories.InstrumentFactory(company=unit.company, name="Bench", measures=[], compensates_temperature=False)
    head = "unit,taken at,instrument,feed conductivity [uS/cm],permeate conductivity [uS/cm],temperature [degC]\n"
    batch = load(
        unit.company,
        None,
        head + "RX-7,2026-03-04 10:00,Bench,400,20,10\nRX-7,2026-03-05 10:00,Bench,400,3,\n"
        "RX-7,2026-03-06 10:00,Bench,400,2,20\nRX-7,2026-03-07 10:00,Bench,400,20,38\n",
    )
    cold = Reading.objects.get(taken_at__day=4)
    # f25 at 10 degC is 1.428 (ISO 7888:1985, table).
    assert cold.feed_tds_mg_per_l == pytest.approx(0.5 * 400 * 1.428, rel=1e-3)
    assert [fault[2] for fault in faults(batch)] == ["temperature_missing"] * 2 + ["temperature_outside_table"] * 2
    assert [flag["code"] for flag in Reading.objects.get(taken_at__day=6).flags] == ["pure_water_compensation"]


def steady(days: int = 6) -> str:
    head = "unit,taken at,inlet pressure [psi],feed TDS [ppm],permeate TDS [ppm],totaliser [L]\n"
    rows = [f"RX-7,2026-02-{day:02d} 10:00,60,200,{8 + day % 2},{1000 + 20 * day}\n" for day in range(1, days)]
    return head + "".join(rows)


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("60,9,205,1200", "transposed"),
        ("60,200,500,1200", "permeate_above_feed"),
        ("6,200,9,1200", "factor_of_ten"),
        ("60,2010,9,1200", "factor_of_ten"),
        # 60 psi is 4.1 bar: somebody wrote the bar gauge into the psi column.
        ("4.1,200,9,1200", "unit_slip"),
        ("60,200,9,900", "totaliser_backwards"),
    ],
)
def test_a_row_that_does_not_fit_the_units_recent_readings_is_stored_and_flagged(
    unit: Unit, row: str, code: str
) -> None:
    batch = load(unit.company, None, steady() + f"RX-7,2026-03-04 10:00,{row}\n")
    assert batch.refused == 0
    assert code in [flag["code"] for flag in Reading.objects.get(taken_at__month=3).flags]
    assert not any(reading.flags for reading in Reading.objects.filter(taken_at__month=2))
    assert batch.flagged == 1


def test_earlier_files_count_as_recent_readings_too(unit: Unit) -> None:
    load(unit.company, None, steady())
    batch = load(
        unit.company, None, "unit,taken at,inlet pressure [psi],totaliser [L]\nRX-7,2026-03-04 10:00,600e-2,100\n"
    )
    assert batch.flagged == 1
    assert {flag["code"] for flag in Reading.objects.get(taken_at__month=3).flags} >= {
        "factor_of_ten",
        "totaliser_backwards",
    }


def test_doubts_about_one_row_alone_are_flagged(unit: Unit) -> None:
    load(
        unit.company,
        None,
        "unit,taken at,minutes since start,line pressure [psi],inlet pressure [psi],feed TDS [ppm],"
        "concentrate TDS [ppm],state,permeate flow [gpd]\n"
        "RX-7,2026-03-04 10:00,2,50,70,200,150,static,60\n",
    )
    assert {flag["code"] for flag in Reading.objects.get().flags} == {
        "first_minutes",
        "inlet_above_line",
        "concentrate_below_feed",
        "static_with_flow",
    }


def test_a_clients_log_reaches_own_units_only(unit: Unit, client_member: Membership, rival: Membership) -> None:
    text = "unit,taken at,feed TDS [ppm]\nRX-7,2026-03-04 10:00,200\n"
    assert load(unit.company, client_member, text).refused == 1
    assert load(rival.company, rival, text).refused == 1
    unit.site.client = client_member.client
    unit.site.save()
    assert load(unit.company, client_member, text).stored == 1


def test_the_number_of_queries_does_not_grow_with_the_rows(unit: Unit, django_assert_max_num_queries: object) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries(rows: int, day: int) -> int:
        text = "unit,taken at,feed TDS [ppm]\n" + "".join(
            f"RX-7,2026-02-{day:02d} {row // 60:02d}:{row % 60:02d},{200 + row % 7}\n" for row in range(rows)
        )
        with CaptureQueriesContext(
            connection,
        ) as queries:
            load(unit.company, None, text)
        # Bulk inserts are cut into statements of a size the database can take.
        return sum(1 for query in queries if not query["sql"].startswith("INSERT"))

    assert queries(5, 3) == queries(300, 4)


@pytest.mark.parametrize("when", ["2026-03-04", "04.03.2026"])
def test_a_day_without_an_hour_is_kept_as_the_day(unit: Unit, when: str) -> None:
    text = f"unit,taken at,feed TDS [ppm]\nRX-7,{when},200\n"
    assert load(unit.company, None, text).stored == 1
    reading = Reading.objects.get()
    # Counted with as its noon in Berlin, an hour ahead of UTC.
    assert reading.taken_at == datetime(2026, 3, 4, 11, tzinfo=UTC)
    assert (known_day(reading.taken_at), reading.flags) == (date(2026, 3, 4), [])
    again = load(unit.company, None, text)
    assert (again.stored, again.duplicates) == (0, 1)


def test_a_day_alone_of_today_is_known_again_in_the_evening(unit: Unit) -> None:
    text = b"unit,taken at,reference,feed TDS [ppm]\nRX-7,2026-03-10,A1,200\nRX-7,2026-03-10,,210\n"
    morning, evening = NOW.replace(hour=7), NOW.replace(hour=19)
    read_log(company=unit.company, by=None, name="log.csv", content=text, now=morning)
    assert [known_day(row.taken_at) for row in Reading.objects.all()] == [date(2026, 3, 10)] * 2
    assert max(row.taken_at for row in Reading.objects.all()) <= morning
    again = read_log(company=unit.company, by=None, name="log.csv", content=text, now=evening)
    assert (again.stored, again.duplicates, again.refused) == (0, 2, 0)
    other = text.replace(b"03-10,A1", b"03-09,A1")
    batch = read_log(company=unit.company, by=None, name="log.csv", content=other, now=evening)
    (refused,) = batch.refused_rows.all()
    assert "with taken_at 2026-03-10, not 2026-03-09" in refused.faults[0]["sentence"]
