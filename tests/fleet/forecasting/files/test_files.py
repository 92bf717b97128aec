"""The file door: a directory of CSV files in, one row per position out, bad rows named, no database touched."""

import csv
from datetime import UTC, datetime
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from fleet.forecasting.files.reading import UnusableFilesError, day_of, read_fleet
from fleet.forecasting.inputs import vocabulary as words

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)

FILES = {
    "sites.csv": "site,supply\ns1,north\ns2,north\n",
    "units.csv": (
        "unit,site,use,kind,weekly demand [US gal],recovery [%],tds factor,commissioned\n"
        "u1,s1,reef,RO/DI,18.5,25,0.7,2025-01-10\n"
        "u2,s2,drinking,ro,26.4,25,,2025-02-01\n"
    ),
    "items.csv": (
        "item,stage,rated volume [US gal],chlorine capacity [g],rated flow [US gpd],rated pressure [psi],"
        "rejection [%],resin volume [L],resin capacity [kgr/ft3]\n"
        "sed,sediment,5000,,,,,,\n"
        "carb,carbon,,75.7,,,,,\n"
        "mem,membrane,,,75,50,96,,\n"
        "res,resin,,,,,,1.2,10\n"
    ),
    "placements.csv": (
        "unit,stage,role,item,placed,removed,reason\n"
        "u1,sediment,single,sed,2025-01-10,2025-06-01,exhausted\n"
        "u1,sediment,single,sed,2025-06-01,,\n"
        "u1,carbon,,carb,2025-06-01,,\n"
        "u1,membrane,,mem,2025-01-10,,\n"
        "u1,resin,lead,res,2025-08-01T10:00:00+02:00,,\n"
        "u1,resin,lag,res,2025-08-01T10:00:00+02:00,,\n"
        "u2,carbon,,carb,2025-03-01,,\n"
    ),
    "readings.csv": (
        "unit,time,line pressure [psi],prefilter outlet pressure [bar],temperature [degF],feed tds [ppm],"
        "permeate tds [ppm],interstage tds [uS/cm],product tds [ppm],occasion,source\n"
        "u1,2025-09-01T09:30:00+02:00,60,4.0,59,350,14,4,0,as found,installer\n"
        "u1,2025-10-01,60,3.9,57.2,355,13,6,0,,client\n"
    ),
    "feed_water.csv": "site,time,ph,alkalinity [dKH],total chlorine [mg/L]\ns1,2025-05-01,7.6,6,0.8\n",
}


@pytest.fixture
def directory(tmp_path):
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_units_of_the_headers_are_converted(directory):
    fleet, faults = read_fleet(directory, now=NOW)
    assert faults == []
    # 1 US gal = 3.785411784 L, 1 psi = 6.894757 kPa, exact; 1 dKH = 17.848 mg/L as CaCO3 (engineering reference 1).
    assert fleet.units.weekly_demand_l[0] == pytest.approx(18.5 * 3.785411784)
    assert fleet.units.recovery_fraction[0] == pytest.approx(0.25)
    assert fleet.readings.line_pressure_kpa[0] == pytest.approx(413.685, abs=0.01)
    assert fleet.readings.prefilter_outlet_pressure_kpa[0] == pytest.approx(400.0)
    assert fleet.readings.temperature_degc[0] == pytest.approx(15.0)
    assert fleet.feed_water.alkalinity_mg_per_l_as_caco3[0] == pytest.approx(107.09, abs=0.01)
    assert fleet.items.resin_capacity_eq_per_l[3] == pytest.approx(0.457273)
    # 350 ppm on a 0.7 meter is 250 on the house scale; a conductivity needs no factor.
    assert fleet.readings.feed_tds_mg_per_l[0] == pytest.approx(250.0)
    assert fleet.readings.interstage_tds_mg_per_l[0] == pytest.approx(2.0)
    assert fleet.readings.day[0] == pytest.approx(day_of("2025-09-01T07:30:00"))


def test_positions_come_from_the_placements(directory):
    fleet, _ = read_fleet(directory, now=NOW)
    assert set(fleet.positions.position_id) == {
        "u1/sediment", "u1/carbon", "u1/membrane", "u1/resin/lead", "u1/resin/lag", "u2/carbon",
    }  # fmt: skip
    assert fleet.as_of_day == pytest.approx(day_of("2025-10-01"))


def test_bad_rows_are_named_and_the_rest_is_forecast(directory):
    with (directory / "readings.csv").open("a", encoding="utf-8") as handle:
        handle.write("u9,2025-09-03,60,,,,,,,,\n")
        handle.write("u1,the third,60,,,,,,,,\n")
        handle.write("u1,2025-09-05,sixty,,,250,,,,,\n")
        handle.write("u1,2025-09-06,60,,,,,,,sometimes,\n")
    out, report, printed = directory / "out.csv", directory / "report.csv", StringIO()
    call_command("forecast", data=directory, out=out, report=report, as_of="2025-10-15", stdout=printed)
    with out.open(encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    assert len(rows) == 6
    for row in rows:
        dates = [row[name] for name in ("p05", "p10", "p25", "p50", "p75", "p90", "p95")]
        assert dates == sorted(dates)
        assert min(dates) >= "2025-10-14"
        assert row["driver"]
    carbon = next(row for row in rows if row["position"] == "u2/carbon")
    assert carbon["p95"] <= "2026-03-01"
    with report.open(encoding="utf-8") as handle:
        reported = {(row["table"], row["row"], row["column"]) for row in csv.DictReader(handle)}
    assert {
        ("readings", "4", "unit"), ("readings", "5", "time"), ("readings", "6", "line pressure"),
        ("readings", "7", "occasion"),
    } <= reported  # fmt: skip
    assert "6 positions of 2 units" in printed.getvalue()


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("units.csv", None, "no units.csv"),
        ("units.csv", "", "is empty"),
        ("units.csv", "site,use\ns1,reef\n", "no column 'unit'"),
        ("placements.csv", "position,placed\np1,2025-01-01\n", "a positions.csv"),
    ],
)
def test_an_unusable_directory_is_refused_with_the_reason(directory, name, text, message):
    if text is None:
        (directory / name).unlink()
    else:
        (directory / name).write_text(text, encoding="utf-8")
    with pytest.raises(UnusableFilesError, match=message):
        read_fleet(directory, now=NOW)


@pytest.mark.parametrize(
    ("header", "message"),
    [("line pressure", "must say the unit"), ("line pressure [degC]", "is not read"), ("line [psi", "one unit")],
)
def test_a_column_that_cannot_be_read_is_named_and_the_others_are_read(directory, header, message):
    text = f"unit,time,{header},feed tds [ppm]\nu2,2025-09-01,60,250\n"
    (directory / "readings.csv").write_text(text, encoding="utf-8")
    fleet, faults = read_fleet(directory, now=NOW)
    assert fleet.readings.feed_tds_mg_per_l.tolist() == [250.0]
    assert [(fault.table, fault.row) for fault in faults] == [("readings", -1)]
    assert message in faults[0].message


def test_the_command_says_what_is_wrong(directory):
    with pytest.raises(CommandError, match="--data DIR and --out FILE"):
        call_command("forecast")
    with pytest.raises(CommandError, match="not a day"):
        call_command("forecast", data=directory, out=directory / "out.csv", as_of="soon")
    for beyond in ("1e99", "0001-01-01"):
        with pytest.raises(CommandError, match="between 1960 and 2170"):
            call_command("forecast", data=directory, out=directory / "out.csv", as_of=beyond)
    with pytest.raises(CommandError, match="does not exist"):
        call_command("forecast", data=directory, out=directory / "nowhere" / "out.csv")
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("forecast", data=directory, out=directory)
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("forecast", data=directory, out=directory / "out.csv", report=directory)


def test_the_columns_are_documented():
    printed = StringIO()
    call_command("forecast", columns=True, stdout=printed)
    text = printed.getvalue()
    for name in FILES:
        assert name in text
    assert "prefilter outlet pressure" in text
    # What is a date the day of, which spellings are understood, and which not.
    assert "95% of the permeate's behind the first of two" in text
    assert "mains pressure" in text
    assert "clogged (exhausted for sediment and membrane" in text
    assert "write 'feed ph' or 'product ph'" in text


def write_as_a_stranger_would(directory):
    """Files of several hands: semicolons, tabs, an old code page, a byte order mark, blank lines, words in capitals."""
    files = {
        "Units.csv": (
            "\ufeffUnit;Site;Use;Kind;Weekly demand [L/week];Recovery [%];Colour\r\n"
            "Kitchen 1;Mill Lane;Drinking;RO;70,5;25;blue\r\n\r\n"
            "Tank room;;reef;RO/DI;140;20;\r\n"
            ";Mill Lane;reef;RO;10;20;\r\n"
        ).encode(),
        "sites.csv": b"site\nHarbour\n",
        "items.csv": b"item,stage,rated volume [gal],resin volume [L]\nS5,sediment,4000,\nR1,resin,,1.2\n",
        "placements.csv": (
            b"unit,stage,role,item,placed,removed\n"
            b"Kitchen 1,Sediment,,S5,2024-05-02,\n"
            b"Tank room,resin,Lead,R1,2025-01-05T10:00+01:00,\n"
            b"Tank room,resin,lag,R1,2025-01-05 10:00,2025-04-01\n"
            b"Nowhere,resin,,R1,2025-01-05,\n"
            b"Tank room,pump,,R1,2025-01-05,\n"
            b"Tank room,membrane,,,soon,\n"
            b"Tank room,membrane,,,2025-06-01,\n"
        ),
        "readings.csv": (
            "unit\ttime\tfeed TDS [µS/cm]\tpermeate TDS [ppm]\tinterstage TDS [ppm]\tminutes since start [h]\t"
            "pH [psi]\n"
            "Tank room\t2025-02-10T09:00:00Z\t480\t9,5\tn/a\t0.5\t7\n"
            "Tank room\tyesterday\t1\n"
            "Tank room\t2025-03-01\tmuch\t9\t2\t0.5\t7\textra\n"
        ).encode("latin-1"),
        "Feed water.csv": b"site,time,alkalinity [dH],pH\nMill Lane,2025-01-01,6,7.6\n",
    }
    for name, content in files.items():
        (directory / name).write_bytes(content)


def test_files_of_a_stranger_are_read_and_each_fault_names_its_line(tmp_path):
    write_as_a_stranger_would(tmp_path)
    fleet, faults = read_fleet(tmp_path, now=NOW, as_of_day=day_of("2025-03-15"))
    assert fleet.units.weekly_demand_l.tolist() == [70.5, 140.0]
    assert fleet.readings.feed_tds_mg_per_l[0] == pytest.approx(240.0)
    assert fleet.readings.permeate_tds_mg_per_l[0] == pytest.approx(9.5)
    assert fleet.readings.minutes_since_start[0] == pytest.approx(30.0)
    assert fleet.feed_water.ph.tolist() == [7.6]
    # What comes later is not known on the forecast's day: a lag is still there, a membrane not yet.
    assert len(fleet.placements) == 3
    assert not (fleet.placements.removed_day <= fleet.as_of_day).any()
    reported = {(fault.table, fault.row + 2 if fault.row >= 0 else 0, fault.field) for fault in faults}
    assert reported == {
        ("units", 0, "Colour"),
        ("units", 2, "site"),
        ("units", 5, "unit"),
        ("items", 0, "rated volume [gal]"),
        ("placements", 5, "unit"),
        ("placements", 6, "stage"),
        ("placements", 7, "placed"),
        ("readings", 0, "pH [psi]"),
        ("readings", 3, "time"),
        ("readings", 4, ""),
        ("readings", 4, "feed tds"),
    }
    assert all(fault.message for fault in faults)


def test_words_and_headers_that_can_mean_one_thing_are_understood(tmp_path):
    (tmp_path / "units.csv").write_text(
        "Unit,Kind,Weekly demand (L/week),Recovery %,Minimum rejection (%)\nu1,RODI,140,20,90\n", encoding="utf-8"
    )
    (tmp_path / "placements.csv").write_text(
        "unit,stage,role,placed,removed,reason\n"
        "u1,DI,first,2025-01-05,2025-03-05,worn out\nu1,DI,first,2025-03-05,,\nu1,DI,second,2025-01-05,,\n"
        "u1,DI,1,2025-01-05,,\nu1,Sediment filter,,2025-01-05,2025-02-05,perhaps\n",
        encoding="utf-8",
    )
    (tmp_path / "readings.csv").write_text(
        "unit,time,product tds (ppm),occasion,source,state\nu1,2025-02-05,0,before,technician,running\n",
        encoding="utf-8",
    )
    fleet, faults = read_fleet(tmp_path, now=NOW)
    assert {(fault.table, fault.row + 2, fault.field, fault.row_dropped) for fault in faults} == {
        ("placements", 5, "role", True),
        ("placements", 6, "reason", False),
    }
    assert fleet.units.weekly_demand_l[0] == 140.0
    assert (fleet.units.recovery_fraction[0], fleet.units.minimum_rejection_fraction[0]) == pytest.approx((0.2, 0.9))
    assert list(fleet.positions.position_id) == ["u1/resin/lead", "u1/resin/lag", "u1/sediment"]
    assert words.ROLES[fleet.positions.role[0]] == "lead"
    assert words.REMOVAL_REASONS[fleet.placements.reason[0]] == "exhausted"
    read = fleet.readings
    assert words.OCCASIONS[read.occasion[0]] == "as_found"
    assert words.SOURCES[read.source[0]] == "installer"
    assert words.FLOW_STATES[read.state[0]] == "flowing"


def test_the_code_says_whether_there_are_forecasts(tmp_path):
    write_as_a_stranger_would(tmp_path)
    out = StringIO()
    options = {"data": tmp_path, "out": tmp_path / "out.csv", "as_of": "2025-03-15", "stdout": out}
    call_command("forecast", **options)
    with (tmp_path / "out.csv").open(encoding="utf-8") as handle:
        rows = {row["position"]: row for row in csv.DictReader(handle)}
    assert set(rows) == {
        "Kitchen 1/sediment", "Tank room/resin/lead", "Tank room/resin/lag", "Tank room/membrane"
    }  # fmt: skip
    assert rows["Tank room/resin/lag"]["p50"] > "2025-03-15"
    assert rows["Tank room/membrane"]["state"] == "empty"
    assert "placements.csv, line 5, unit: unit 'Nowhere' is not in units.csv" in out.getvalue()
    with pytest.raises(SystemExit) as strict:
        call_command("forecast", strict=True, **options)
    assert strict.value.code == 2
    (tmp_path / "placements.csv").write_text("unit,stage,placed\nNowhere,resin,2025-01-05\n", encoding="utf-8")
    with pytest.raises(CommandError, match="no position to forecast"):
        call_command("forecast", **options)


def test_what_was_read_on_the_day_itself_is_known(directory):
    (directory / "readings.csv").write_text("unit,time,feed tds [ppm]\nu1,2025-10-01T18:00,350\n", encoding="utf-8")
    out, report = directory / "out.csv", directory / "report.csv"
    call_command("forecast", data=directory, out=out, report=report, as_of="2025-10-01", stdout=StringIO())
    assert "clock_in_future" not in report.read_text(encoding="utf-8")
    call_command("forecast", data=directory, out=out, report=report, as_of="2025-10-01T12:00", stdout=StringIO())
    assert "clock_in_future" in report.read_text(encoding="utf-8")
