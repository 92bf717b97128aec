"""The table of rooms: which code is changed, and which tests are asked about it."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final


@dataclass(frozen=True)
class Room:
    """A folder of code and the tests that exercise it (files, or folders whose test files count), quick ones first.

    `slow` are test files of those folders that take so long that a run would end with few mutants tried.
    """

    code: str
    tests: tuple[str, ...]
    slow: tuple[str, ...] = ()

    def modules(self, root: Path) -> list[str]:
        """Paths of the room's files that hold code."""
        return [str(path.relative_to(root)) for path in sorted((root / self.code).rglob("*.py")) if path.stat().st_size]

    def tests_of(self, root: Path, module: str) -> list[str]:
        """What to run for a module: its examples, the test file of its name, then the room's other tests."""
        everything = list(dict.fromkeys(self._test_files(root)))
        own = f"test_{Path(module).stem}.py"
        return [module, *sorted(everything, key=lambda path: Path(path).name != own)]

    def _test_files(self, root: Path) -> Iterator[str]:
        for name in self.tests:
            place = root / name
            if not place.exists():
                raise FileNotFoundError(f"{name} is in the table of rooms and not in the project")
            for path in sorted(place.rglob("test_*.py")) if place.is_dir() else [place]:
                relative = str(path.relative_to(root))
                if relative not in self.slow:
                    yield relative


ROOMS: Final = {
    "forecasting/wear": Room(
        "fleet/forecasting",
        ("tests/fleet/forecasting",),
        slow=("tests/fleet/forecasting/test_simulated.py", "tests/fleet/forecasting/test_files.py"),
    ),
    "planning": Room(
        "scheduling/planning",
        ("tests/scheduling/planning",),
        slow=("tests/scheduling/planning/test_years.py",),
    ),
    "diagnosis": Room(
        "fleet/engineering/diagnosis",
        ("tests/fleet/engineering/test_diagnosis.py", "tests/fleet/engineering/test_diagnosis_on_simulated_units.py"),
    ),
}
