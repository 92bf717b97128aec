"""A report names what is wrong; what is wrong in the same way in many rows does not drown the rest."""

import csv
from io import StringIO
from pathlib import Path

from django.core.management import call_command

from fleet.forecasting.files.gathering import gather
from fleet.forecasting.inputs.build import Fault


def test_rows_left_out_as_a_whole_stay_one_by_one() -> None:
    dropped = [Fault("readings", row, "time", "not_a_number", "no time", True) for row in range(9)]
    value = [Fault("readings", row, "ph", "not_a_number", "no number", False) for row in range(9)]
    few = [Fault("readings", row, "ph", "out_of_range", "too high", False) for row in range(3)]
    column = [Fault("readings", -1, "Moon", "unknown", "no such column", False)] * 5
    gathered = gather([*dropped, *value, *few, *column])
    assert gathered == [*dropped, gathered[9], *few, *column]
    assert gathered[9].row == 0
    assert gathered[9].message == "no number (9 rows: lines 2, 3, 4 and on)"


def test_readings_after_the_day_are_one_line_with_their_number_and_the_first(tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text("unit,kind\nu1,ro\n", encoding="utf-8")
    (tmp_path / "placements.csv").write_text("unit,stage,placed\nu1,membrane,2024-01-05\n", encoding="utf-8")
    rows = "".join(f"u1,2025-{month:02}-01,250,Runa\n" for month in range(1, 13))
    (tmp_path / "readings.csv").write_text("unit,time,feed tds [ppm],read by\n" + rows, encoding="utf-8")
    report, printed = tmp_path / "report.csv", StringIO()
    call_command("forecast", data=tmp_path, out=tmp_path / "out.csv", report=report, as_of="2025-02-15", stdout=printed)
    with report.open(encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    later = [line for line in lines if line["code"] == "clock_in_future"]
    assert len(later) == 1
    assert later[0]["what was wrong"] == (
        "dated after the forecast's day (10 readings; "
        "first u1 2025-03-01T00:00+00:00, u1 2025-04-01T00:00+00:00, u1 2025-05-01T00:00+00:00)"
    )
    # Who read it is a name that the files cannot use: said once.
    assert [line["row"] for line in lines if line["column"] == "source"] == ["2"]
    assert "12 rows: lines 2, 3, 4 and on" in printed.getvalue()
