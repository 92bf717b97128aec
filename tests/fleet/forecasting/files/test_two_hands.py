"""One fleet written by two hands, as the guide has it and as an office does, has one forecast."""

import csv
from datetime import date, timedelta
from io import StringIO
from pathlib import Path

from django.core.management import call_command

DAYS = [date(2025, 2, 3) + timedelta(days=21 * step) for step in range(16)]


def by_the_guide() -> dict[str, str]:
    readings = "".join(
        f"u1,{day},{250 + step},{9.5 + step / 10},{0.4 * step:g},{400 - 3 * step},{385 - 6 * step},installer\n"
        for step, day in enumerate(DAYS)
    )
    return {
        "units": (
            "unit,kind,weekly demand [L/week],recovery [%],pressure tank,commissioned\nu1,ro_di,140,25,yes,2024-12-20\n"
        ),
        "items": "item,stage,rated volume [L],resin volume [L]\nS5,sediment,15000,\nR1,resin,,1.2\n",
        "placements": (
            "unit,stage,role,item,placed,removed,reason\n"
            "u1,sediment,single,S5,2024-12-20,2025-06-13,exhausted\nu1,sediment,single,S5,2025-06-13,,\n"
            "u1,carbon,single,,2025-01-13,,\nu1,membrane,single,,2024-12-20,,\n"
            "u1,resin,lead,R1,2025-01-13,2025-07-14,routine\nu1,resin,lead,R1,2025-07-14,,\n"
            "u1,resin,lag,R1,2025-01-13,,\n"
        ),
        "readings": (
            "unit,time,feed tds [ppm],permeate tds [ppm],product tds [ppm],line pressure [kPa],"
            "prefilter outlet pressure [kPa],source\n" + readings
        ),
        "feed_water": "site,time,total chlorine [mg/L],alkalinity [mg/L as CaCO3]\nu1,2025-03-01,0.8,120.5\n",
    }


def by_an_office() -> dict[str, str]:
    def comma(value: float) -> str:
        return f"{value:g}".replace(".", ",")

    def bar(kpa: int) -> str:
        return f"{kpa / 100:.2f} bar".replace(".", ",")

    readings = "".join(
        f"u1;{day:%d.%m.%Y};{250 + step};{comma(9.5 + step / 10)};{comma(0.4 * step)};"
        f"{bar(400 - 3 * step)};{bar(385 - 6 * step)};technician;Runa was here\n"
        for step, day in enumerate(DAYS)
    )
    return {
        "units": "Unit no;Type;Weekly use (L);Recovery %;Tank;Installed on\nu1;RO/DI;140;25 %;x;20 December 2024\n",
        "items": "Cartridge;Type;Rated volume (m3);Resin volume (L)\nS5;Sediment;15;\nR1;DI;;1,2\n",
        "placements": (
            "Unit no;Stage;Role;Cartridge;Date in;Date out;Why\n"
            "u1;prefilter;;S5;20/12/2024;13/06/2025;clogged\nu1;Sed;;S5;13/06/2025;;\n"
            "u1;GAC;;;13/01/2025;;\nu1;Mem;;;20/12/2024;;\n"
            "u1;DI;1st;R1;13/01/2025;14/07/2025;calendar\nu1;DI;1st;R1;14/07/2025;;\nu1;DI;2nd;R1;13/01/2025;;\n"
        ),
        "readings": (
            "Unit no;Read on;Tap TDS (ppm);RO TDS (ppm);DI TDS (ppm);Mains pressure;Pressure after prefilters;Read by;"
            "Remarks\n" + readings
        ),
        "feed_water": "Site;Sampled on;Total chlorine (mg/l);Alkalinity (mg/L CaCO3)\nu1;1.3.2025;0,8;120,5\n",
    }


def forecast(folder: Path, texts: dict[str, str]) -> tuple[list[list[str]], str]:
    folder.mkdir()
    for name, text in texts.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    printed = StringIO()
    call_command("forecast", data=folder, out=folder / "out", as_of="2026-01-10", stdout=printed)
    with (folder / "out").open(encoding="utf-8") as file:
        return list(csv.reader(file)), printed.getvalue()


def test_one_fleet_written_by_two_hands_has_one_forecast(tmp_path: Path) -> None:
    guide, told_by_guide = forecast(tmp_path / "guide", by_the_guide())
    office, told_by_office = forecast(tmp_path / "office", by_an_office())
    assert len(guide) == 6
    assert office == guide
    assert "0 rows of the files not usable" in told_by_guide
    # The free text is all that is not read, and said once.
    assert told_by_office.splitlines()[1:] == [
        "  readings.csv, Remarks: there is no such column in the guide (--columns lists them); not read"
    ]
