"""The table of `tests/benchmarks/mutation/rooms.py` keeps up with the folders, though no run of the suite uses it."""

import ast
from pathlib import Path

import pytest

from tests.benchmarks.mutation.rooms import ROOMS

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize("name", ROOMS)
def test_every_room_has_code_and_tests(name: str) -> None:
    room = ROOMS[name]
    for code in room.tests:
        assert [module for module in room.modules(ROOT) if module.startswith(code)], code
    for module in room.modules(ROOT):
        assert any(Path(path).name.startswith("test_") for path in room.tests_of(ROOT, module).files), module
    for path in room.slow:
        assert (ROOT / path).exists(), path


@pytest.mark.parametrize("name", ROOMS)
def test_the_tests_of_a_room_run_without_django(name: str) -> None:
    """A run plants faults without loading it, and what imports a model would end it before the first."""
    room = ROOMS[name]
    files = {path for module in room.modules(ROOT) for path in room.tests_of(ROOT, module).files}
    for path in sorted(files):
        imported = {
            name
            for node in ast.walk(ast.parse((ROOT / path).read_text()))
            if isinstance(node, ast.Import | ast.ImportFrom)
            for name in ([node.module or ""] if isinstance(node, ast.ImportFrom) else [one.name for one in node.names])
        }
        impure = {name for name in imported if name.split(".")[0] == "django" or ".models" in name}
        assert impure == set(), path


def test_a_modules_own_test_file_comes_first() -> None:
    tests = ROOMS["planning"].tests_of(ROOT, "scheduling/planning/rounds/insertion.py")
    assert tests.own == ["tests/scheduling/planning/rounds/test_insertion.py"]
    seconds = dict.fromkeys(tests.files, 1.0)
    assert tests.runs(seconds)[0] == tests.own


def test_a_modules_examples_come_last() -> None:
    tests = ROOMS["planning"].tests_of(ROOT, "scheduling/planning/needs/need.py")
    assert tests.runs(dict.fromkeys(tests.files, 1.0))[-1][-1] == "scheduling/planning/needs/need.py"


def test_every_module_of_wear_has_a_test_module_of_its_own() -> None:
    modules = {path.stem for path in (ROOT / "fleet/forecasting/wear").glob("*.py")} - {"__init__"}
    tested = {path.stem.removeprefix("test_") for path in (ROOT / "tests/fleet/forecasting/wear").glob("test_*.py")}
    assert modules - tested == set()
