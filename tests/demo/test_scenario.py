"""The invented company is what was promised, and says that it is invented."""

from collections import Counter

import pytest

from fleet.demo.scenario import ScenarioError, read_scenario
from tests.demo.conftest import FOLDER, SimulatedCompany


def test_the_company_has_the_promised_size(simulated: SimulatedCompany) -> None:
    scenario = simulated.scenario
    assert len(scenario.installers) == 3
    assert len({site.client for site in scenario.sites.values()}) == 60
    assert 60 <= len(scenario.sites) <= 65
    assert len(scenario.units) == 75
    readers = Counter(unit.read_by for unit in scenario.units)
    assert readers["meter"] / 75 == pytest.approx(0.10, abs=0.02)
    assert readers["weekly"] / 75 == pytest.approx(0.30, abs=0.02)


def test_every_use_and_every_story_has_a_unit(simulated: SimulatedCompany) -> None:
    units = simulated.scenario.units
    assert {unit.use for unit in units} == {"reef", "planted", "drinking", "coffee", "laboratory"}
    assert Counter(unit.story for unit in units if unit.story) == Counter(dict.fromkeys(simulated.scenario.stories, 1))


def test_a_drinking_tap_never_has_resin(simulated: SimulatedCompany) -> None:
    assert all(unit.kind == "ro" for unit in simulated.scenario.units if unit.use in {"drinking", "coffee"})


def test_a_tap_shows_the_cartridges_that_finish_its_water(simulated: SimulatedCompany) -> None:
    stages = {place.stage: unit for unit in simulated.scenario.units for place in unit.places}
    assert stages["post_carbon"] is stages["remineralisation"]
    assert stages["post_carbon"].use == "drinking"


def test_what_is_said_about_getting_in_fits_the_place(simulated: SimulatedCompany) -> None:
    uses: dict[str, set[str]] = {}
    for unit in simulated.scenario.units:
        uses.setdefault(unit.site, set()).add(unit.use)
    for site in simulated.scenario.sites.values():
        notes, is_home = site.access_notes.lower(), site.name.endswith(", home")
        if "aquarium" in notes:
            assert uses[site.code] & {"reef", "planted"}, site.code
        if "counter" in notes:
            assert not is_home, site.code
        if "kitchen" in notes or "hall cupboard" in notes:
            assert is_home or uses[site.code] & {"reef", "drinking"}, site.code


@pytest.mark.parametrize("path", sorted(FOLDER.iterdir()), ids=lambda path: path.name)
def test_every_file_says_that_it_is_invented(path) -> None:
    assert "invented" in path.read_text(encoding="utf-8")[:400].lower()


def test_an_unknown_item_in_a_train_is_named(tmp_path) -> None:
    for path in FOLDER.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    trains = tmp_path / "trains.json"
    trains.write_text(trains.read_text(encoding="utf-8").replace("single MEM-50", "single MEM-51", 1), encoding="utf-8")
    with pytest.raises(ScenarioError, match="MEM-51"):
        read_scenario(tmp_path)
