"""Headers and words that a sensible office writes: understood where they mean one thing, else reported."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fleet.forecasting.files.days import day_of
from fleet.forecasting.files.reading import UnusableFilesError, read_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.build import Fault
from fleet.forecasting.inputs.tables import Fleet

NOW = datetime(2026, 3, 10, tzinfo=UTC)
UNITS = "unit,kind,recovery [%]\nu1,ro,25\nu2,ro_di,25\n"
PLACEMENTS = (
    "unit,stage,role,placed\nu1,sediment,,2025-01-05\nu1,membrane,,2025-01-05\nu2,membrane,,2025-01-05\n"
    "u2,resin,,2025-01-05\n"
)
READINGS = "unit,time,feed tds [ppm]\nu1,2025-05-01,250\n"


def read(folder: Path, **texts: str) -> tuple[Fleet, list[Fault]]:
    """A fleet of two units whose files are as given, else the usual ones."""
    texts = {"units": UNITS, "placements": PLACEMENTS, "readings": READINGS, **texts}
    for name, text in texts.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return read_fleet(folder, now=NOW)


@pytest.mark.parametrize(
    ("header", "cell", "field", "value"),
    [
        ("Temp (°C)", "12", "temperature_degc", 12.0),
        ("Water temp [degF]", "59", "temperature_degc", 15.0),
        ("Tap TDS (ppm)", "250", "feed_tds_mg_per_l", 250.0),
        ("Tap TDS, ppm", "250", "feed_tds_mg_per_l", 250.0),
        ("TDS in ( µS/cm )", "500", "feed_tds_mg_per_l", 250.0),
        ("TDS out (ppm)", "9", "permeate_tds_mg_per_l", 9.0),
        ("DI TDS (ppm)", "1", "product_tds_mg_per_l", 1.0),
        ("Mains pressure (bar)", "3.5", "line_pressure_kpa", 350.0),
        ("Mains pressure bar", "3.5", "line_pressure_kpa", 350.0),
        ("Line pressure kPa", "350", "line_pressure_kpa", 350.0),
        ("Membrane pressure (bar)", "3.5", "inlet_pressure_kpa", 350.0),
        ("Tank (bar)", "1.5", "tank_pressure_kpa", 150.0),
        ("Drain flow (L/day)", "600", "concentrate_flow_l_per_day", 600.0),
        ("Total chlorine after carbon (mg/L)", "0.05", "carbon_outlet_total_chlorine_mg_per_l", 0.05),
        ("Meter reading (L)", "12345", "totaliser_l", 12345.0),
        ("Totalizer (m3)", "1.5", "totaliser_l", 1500.0),
        ("Counter [US gal]", "100", "totaliser_l", 378.5411784),
        ("Running time (min)", "12", "minutes_since_start", 12.0),
    ],
)
def test_a_reading_is_found_under_its_usual_names(
    header: str, cell: str, field: str, value: float, tmp_path: Path
) -> None:
    separator = ";" if "," in header else ","
    text = f"unit{separator}date read{separator}{header}\nu1{separator}2025-05-01{separator}{cell}\n"
    fleet, faults = read(tmp_path, readings=text)
    assert faults == []
    assert getattr(fleet.readings, field).tolist() == pytest.approx([value])


@pytest.mark.parametrize(
    ("header", "cure"),
    [
        ("Pressure (bar)", "'inlet pressure' (at the membrane)"),
        ("Gauge (bar)", "'inlet pressure' (at the membrane)"),
        ("TDS (ppm)", "'permeate tds' (behind the membrane)"),
        ("TDS in ppm", "'permeate tds' (behind the membrane)"),
        ("Total chlorine (mg/L)", "'carbon outlet total chlorine'"),
        ("Chlorine after carbon (mg/L)", "'total chlorine'"),
        ("Flow (L/h)", "'concentrate flow'"),
        ("pH", "'product ph'"),
        ("Tank", "'tank valve'"),
        ("Moon", "no such column"),
    ],
)
def test_a_header_that_can_mean_two_things_is_reported_once_with_what_would_be_right(
    header: str, cure: str, tmp_path: Path
) -> None:
    text = f"unit,time,{header},feed tds [ppm]\n" + "".join(f"u1,2025-05-0{day},1,250\n" for day in range(1, 9))
    fleet, faults = read(tmp_path, readings=text)
    assert [(fault.table, fault.row, fault.row_dropped) for fault in faults] == [("readings", -1, False)]
    assert cure in faults[0].message
    assert len(fleet.readings) == 8


def test_what_comes_out_of_a_unit_with_resin_is_not_guessed(tmp_path: Path) -> None:
    text = "unit,time,TDS in (ppm),TDS out (ppm)\nu1,2025-05-01,250,9\nu2,2025-05-01,250,9\nu2,2025-05-02,250,\n"
    fleet, faults = read(tmp_path, readings=text)
    permeate = dict(
        zip(fleet.readings.unit_index.tolist(), fleet.readings.permeate_tds_mg_per_l.tolist(), strict=False)
    )
    assert permeate[0] == 9.0
    assert np.isnan(permeate[1])
    assert np.isnan(fleet.readings.product_tds_mg_per_l).all()
    assert [(fault.row + 2, fault.field) for fault in faults] == [(3, "tds out")]
    assert "'permeate tds' or 'product tds'" in faults[0].message


@pytest.mark.parametrize("unit", ["ppm", "PPM", "mg/L", "mg/l"])
def test_the_factor_of_a_meter_counts_however_its_unit_is_spelt(unit: str, tmp_path: Path) -> None:
    units = "unit,kind,Meter factor\nu1,ro,0.7\nu2,ro_di,\n"
    fleet, _ = read(tmp_path, units=units, readings=f"unit,time,Tap TDS ({unit})\nu1,2025-05-01,350\n")
    assert fleet.readings.feed_tds_mg_per_l.tolist() == [250.0]


def test_the_words_of_a_unit(tmp_path: Path) -> None:
    units = (
        "Unit no,Type,Installed on,Weekly use (US gal/week),Tank,Booster,Counter,Used for\n"
        "u1,RO,2024-12-01,100,yes,none,feed,kitchen\nu2,RO/DI,2024-12-02,50,no,fitted,,reef tank\n"
    )
    fleet, faults = read(tmp_path, units=units)
    assert faults == []
    assert [words.KINDS[kind] for kind in fleet.units.kind] == ["ro", "ro_di"]
    assert fleet.units.weekly_demand_l.tolist() == pytest.approx([378.5411784, 189.2705892])
    assert fleet.units.commissioned_day.tolist() == [day_of("2024-12-01"), day_of("2024-12-02")]
    assert [words.FLAGS[flag] for flag in fleet.units.has_pressure_tank] == ["yes", "no"]
    assert [words.FLAGS[flag] for flag in fleet.units.has_booster_pump] == ["no", "yes"]
    assert [words.TOTALISER_STREAMS[stream] for stream in fleet.units.totaliser] == ["feed", ""]
    assert [words.USES[use] for use in fleet.units.use] == ["drinking", "reef"]


@pytest.mark.parametrize(
    ("header", "value"),
    [
        ("Weekly use [L]", 70.0),
        ("Usage (L/week)", 70.0),
        ("Demand [L/day]", 490.0),
        ("Weekly demand [L/day]", 490.0),
        ("Daily use [L]", 490.0),
        ("Weekly use L/week", 70.0),
    ],
)
def test_use_is_told_by_the_week_or_by_the_day(header: str, value: float, tmp_path: Path) -> None:
    fleet, faults = read(tmp_path, units=f"unit,kind,{header}\nu1,ro,70\nu2,ro_di,\n")
    assert faults == []
    assert fleet.units.weekly_demand_l[0] == pytest.approx(value)


@pytest.mark.parametrize(
    ("header", "cure"), [("Weekly use (gal/week)", "'US gal' or 'imperial gal'"), ("Demand [L]", "[L/week]")]
)
def test_a_use_that_can_mean_two_things_is_not_read(header: str, cure: str, tmp_path: Path) -> None:
    fleet, faults = read(tmp_path, units=f"unit,kind,{header}\nu1,ro,70\nu2,ro_di,\n")
    assert np.isnan(fleet.units.weekly_demand_l).all()
    assert [fault.row for fault in faults] == [-1]
    assert cure in faults[0].message


@pytest.mark.parametrize(
    ("placed", "removed"),
    [("Fitted", "Out"), ("Date in", "Date out"), ("installed on", "taken out on"), ("Date fitted", "Removed on")],
)
def test_the_days_of_a_placement(placed: str, removed: str, tmp_path: Path) -> None:
    text = f"Unit,Cartridge,Role,{placed},{removed},Why\nu1,sediment,,2025-01-05,2025-06-05,calendar\n"
    fleet, faults = read(tmp_path, placements=text)
    assert faults == []
    assert fleet.placements.placed_day.tolist() == [day_of("2025-01-05")]
    assert fleet.placements.removed_day.tolist() == [day_of("2025-06-05")]
    assert words.REMOVAL_REASONS[fleet.placements.reason[0]] == "routine"


def test_a_cartridge_is_the_item_where_its_words_are_no_stages(tmp_path: Path) -> None:
    text = "unit,stage,cartridge,fitted\nu1,sediment,S5,2025-01-05\n"
    items = "Cartridge,Type,Rated volume [L]\nS5,sediment,9000\n"
    fleet, faults = read(tmp_path, placements=text, items=items)
    assert faults == []
    assert fleet.items.item_id[fleet.placements.item_index[0]] == "S5"


def test_a_day_that_can_mean_in_or_out_stops_with_what_would_be_right(tmp_path: Path) -> None:
    with pytest.raises(UnusableFilesError, match=r"no column 'placed'.*'Changed on'.*write 'placed' for the day"):
        read(tmp_path, placements="unit,stage,Changed on\nu1,sediment,2025-01-05\n")


@pytest.mark.parametrize(
    ("stage", "written", "reason"),
    [
        ("prefilter", "clogged", "exhausted"),
        ("GAC", "clogged", "unknown"),
        ("mem", "blocked", "exhausted"),
        ("mem", "complaint", "unknown"),
        ("DI", "Calendar", "routine"),
    ],
)
def test_words_of_stage_and_reason(stage: str, written: str, reason: str, tmp_path: Path) -> None:
    text = f"unit,stage,placed,removed,reason\nu1,{stage},2025-01-05,2025-06-05,{written}\n"
    fleet, faults = read(tmp_path, placements=text)
    assert faults == []
    assert words.REMOVAL_REASONS[fleet.placements.reason[0]] == reason


def test_swapped_is_taken_as_unknown_and_reported(tmp_path: Path) -> None:
    text = "unit,stage,placed,removed,reason\nu1,sediment,2025-01-05,2025-06-05,swapped\n"
    fleet, faults = read(tmp_path, placements=text)
    assert words.REMOVAL_REASONS[fleet.placements.reason[0]] == "unknown"
    assert [(fault.row + 2, fault.field, fault.row_dropped) for fault in faults] == [(2, "reason", False)]
    assert "write 'rotated' if" in faults[0].message


def test_roles_in_figures(tmp_path: Path) -> None:
    text = "unit,stage,role,placed\nu2,resin,1st,2025-01-05\nu2,resin,2nd,2025-01-05\nu1,carbon,2 of 2,2025-01-05\n"
    fleet, faults = read(tmp_path, placements=text)
    assert faults == []
    assert [words.ROLES[role] for role in fleet.positions.role] == ["lead", "lag", "lag"]


def test_samples_of_feed_water(tmp_path: Path) -> None:
    text = "Site,Sampled on,Total chlorine (mg/L),Temp (°C),Conductivity (µS/cm)\nu1,2025-05-01,0.8,12,500\n"
    fleet, faults = read(tmp_path, feed_water=text)
    assert faults == []
    sample = fleet.feed_water
    assert sample.total_chlorine_mg_per_l[0] == pytest.approx(0.8)
    assert sample.temperature_degc[0] == pytest.approx(12.0)
    assert sample.tds_mg_per_l[0] == pytest.approx(250.0)


@pytest.mark.parametrize("text", ["site,ph\nu1,7.4\n", "", "date,ph\n2025-05-01,7.4\n"])
def test_a_file_that_only_helps_does_not_stop_the_command(text: str, tmp_path: Path) -> None:
    fleet, faults = read(tmp_path, feed_water=text)
    assert len(fleet.readings) == 1
    assert [(fault.table, fault.row, fault.code) for fault in faults] == [("feed_water", -1, "missing")]
    assert "not read" in faults[0].message


@pytest.mark.parametrize(
    ("text", "what"), [(None, "there is no readings.csv"), ("unit,time,feed tds [ppm]\nu1,soon,3\n", "no reading of")]
)
def test_a_fleet_without_readings_is_told_so(text: str | None, what: str, tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text(UNITS, encoding="utf-8")
    (tmp_path / "placements.csv").write_text(PLACEMENTS, encoding="utf-8")
    if text is not None:
        (tmp_path / "readings.csv").write_text(text, encoding="utf-8")
    _, faults = read_fleet(tmp_path, now=NOW)
    told = [fault.message for fault in faults if fault.code == "no_readings"]
    assert len(told) == 1
    assert told[0].startswith(what)
    assert "rests on labels" in told[0]


@pytest.mark.parametrize(
    ("header", "cells", "values"),
    [
        ("Mains pressure", ("3.5 bar", "4bar"), [350.0, 400.0]),
        ("Mains pressure (bar)", ("3.5 bar", "4"), [350.0, 400.0]),
        ("line_pressure_kpa", ("350 kPa", "400 kPa"), [350.0, 400.0]),
    ],
)
def test_a_unit_in_the_cells_counts(header: str, cells: tuple[str, str], values: list[float], tmp_path: Path) -> None:
    text = f"unit,time,{header}\nu1,2025-05-01,{cells[0]}\nu1,2025-05-02,{cells[1]}\n"
    fleet, faults = read(tmp_path, readings=text)
    assert faults == []
    assert fleet.readings.line_pressure_kpa.tolist() == pytest.approx(values)


@pytest.mark.parametrize(
    ("header", "cells", "cure"),
    [
        ("Mains pressure", ("3.5 bar", "60 psi"), "'3.5 bar' is not a number"),
        ("Mains pressure", ("3.5 bar", "4"), "must say the unit"),
        ("Mains pressure (bar)", ("60 psi", "4"), "'60 psi' is not a number"),
    ],
)
def test_cells_of_several_units_are_reported(header: str, cells: tuple[str, str], cure: str, tmp_path: Path) -> None:
    text = f"unit,time,{header}\nu1,2025-05-01,{cells[0]}\nu1,2025-05-02,{cells[1]}\n"
    fleet, faults = read(tmp_path, readings=text)
    assert np.isnan(fleet.readings.line_pressure_kpa[0])
    assert any(cure in fault.message for fault in faults)


def test_a_factor_counts_where_the_cells_say_ppm(tmp_path: Path) -> None:
    units = "unit,kind,Meter factor\nu1,ro,0.7\nu2,ro_di,\n"
    fleet, faults = read(tmp_path, units=units, readings="unit,time,Tap TDS\nu1,2025-05-01,350 ppm\n")
    assert faults == []
    assert fleet.readings.feed_tds_mg_per_l.tolist() == [250.0]


def test_one_odd_word_is_the_fault_of_its_row_alone(tmp_path: Path) -> None:
    fleet, faults = read(tmp_path, units="unit,Type\nu1,RO\nu2,RO/DI\nu3,softener\n")
    assert [words.KINDS[kind] for kind in fleet.units.kind][:2] == ["ro", "ro_di"]
    assert [(fault.table, fault.row + 2, fault.field) for fault in faults] == [("units", 4, "kind")]
