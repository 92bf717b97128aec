"""The logs hold the promised mess, on known lines."""

import csv
import io
from collections import Counter

from fleet.demo.mistakes import KINDS
from tests.demo.conftest import AS_OF, SimulatedCompany


def test_every_kind_of_mistake_is_made(simulated: SimulatedCompany) -> None:
    mistakes = Counter(planted.kind for file in simulated.logs for planted in file.planted())
    assert set(mistakes) == set(KINDS)
    assert sum(mistakes.values()) >= 20


def test_each_writer_keeps_a_log_of_their_own(simulated: SimulatedCompany) -> None:
    names = Counter(file.name.split("-")[0] for file in simulated.logs)
    assert names["installer"] == 3
    assert names["client"] >= 15
    assert names["feed"] == 3
    assert names["meters"] == 2


def test_units_are_mixed(simulated: SimulatedCompany) -> None:
    heads = " ".join(file.text().splitlines()[0] for file in simulated.logs)
    for unit in ("[psi]", "[bar]", "[kPa]", "[degF]", "[degC]", "[gpd]", "[L/day]", "[mL/min]", "[gpg]", "[dH]",
                 "[mg/L as CaCO3]", "[ppm]", "[uS/cm]"):  # fmt: skip
        assert unit in heads


def test_planted_mistakes_stand_on_the_lines_they_claim(simulated: SimulatedCompany) -> None:
    for file in simulated.logs:
        lines = file.text().splitlines()
        for planted in file.planted():
            cells = dict(zip(next(csv.reader([lines[0]], delimiter=file.hand.separator)),
                             next(csv.reader([lines[planted.line - 1]], delimiter=file.hand.separator)),
                             strict=True))  # fmt: skip
            if planted.kind == "pressure of 600 psi":
                assert cells["inlet pressure [psi]"] == "600"
            if planted.kind == "date in the future":
                text = cells["taken at"][:10]
                day = "-".join(reversed(text.split("."))) if "." in text else text
                assert day > AS_OF.isoformat()
            if planted.kind == "row pasted twice":
                assert lines[planted.line - 1] == lines[planted.line - 2]


def test_fields_are_missing_here_and_there(simulated: SimulatedCompany) -> None:
    file = next(file for file in simulated.logs if file.name == "installer-runa.csv")
    rows = list(csv.DictReader(io.StringIO(file.text())))
    filled = [bool(row["inlet pressure [psi]"]) for row in rows]
    assert 0.8 < sum(filled) / len(filled) < 1.0


def test_the_probes_change_places_only_in_the_story(simulated: SimulatedCompany) -> None:
    files = [file for file in simulated.logs if file.source == "meter"]
    file = next(file for file in files if any(row.cells["unit"] == "S49-1" for row in file.rows))
    rows = [row.cells for row in file.rows if row.cells["unit"] == "S49-1" and not row.mistake]
    (feed,) = {name for row in rows for name in row if name.startswith("feed TDS")}
    (permeate,) = {name for row in rows for name in row if name.startswith("permeate TDS")}
    over = [float(row[permeate]) > float(row[feed]) for row in rows if row.get(permeate) and row.get(feed)]
    assert sum(over) == sum(over[-75:])
    assert sum(over) > 60
