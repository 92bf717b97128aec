"""The table of rooms: which code is changed, and which tests are asked about it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final


@dataclass(frozen=True)
class Tests:
    """Tests of a module: the file of its name, the others that exercise it, and the module itself for its examples."""

    own: list[str]
    others: list[str]
    examples: str

    @property
    def files(self) -> list[str]:
        """The test files."""
        return [*self.own, *self.others]

    def runs(self, seconds: Mapping[str, float]) -> list[list[str]]:
        """What to run, one run after another, where a file takes so many seconds.

        Most faults are noticed by the file of the module's name, which has little to collect; then the quickest come
        first. The module's own examples come last: the runner loads a module anew to read them, and what is collected
        after that would see two of each of its classes.
        """
        others = [*sorted(self.others, key=lambda file: seconds[file]), *filter(None, [self.examples])]
        return [run for run in (self.own, others) if run]


@dataclass(frozen=True)
class Room:
    """Folders of code, each with the tests that exercise it: files, or folders whose test files count.

    `slow` are test files of those folders that take so long that a run would end with few mutants tried.
    """

    tests: dict[str, tuple[str, ...]]
    slow: tuple[str, ...] = ()

    def modules(self, root: Path) -> list[str]:
        """Paths of the room's files that hold code."""
        files = [path for code in self.tests for path in (root / code).rglob("*.py") if path.stat().st_size]
        return sorted({str(path.relative_to(root)) for path in files})

    def tests_of(self, root: Path, module: str) -> Tests:
        """What to run for a module."""
        code = max((code for code in self.tests if module.startswith(code)), key=len)
        files = list(dict.fromkeys(self._test_files(root, self.tests[code])))
        own = [path for path in files if Path(path).name == f"test_{Path(module).stem}.py"]
        return Tests(
            own, [path for path in files if path not in own], module if ">>>" in (root / module).read_text() else ""
        )

    def _test_files(self, root: Path, places: tuple[str, ...]) -> Iterator[str]:
        for name in places:
            place = root / name
            if not place.exists():
                raise FileNotFoundError(f"{name} is in the table of rooms and not in the project")
            for path in sorted(place.rglob("test_*.py")) if place.is_dir() else [place]:
                relative = str(path.relative_to(root))
                if relative not in self.slow:
                    yield relative


_PLANNING: Final = "tests/scheduling/planning"

ROOMS: Final = {
    "forecasting/wear": Room(
        {"fleet/forecasting/wear": ("tests/fleet/forecasting/wear", "tests/fleet/forecasting/answer")},
    ),
    "planning": Room(
        {
            "scheduling/planning": (
                f"{_PLANNING}/test_policy.py",
                f"{_PLANNING}/test_company_rules.py",
                f"{_PLANNING}/test_words.py",
                f"{_PLANNING}/needs",
                f"{_PLANNING}/visits",
            ),
            "scheduling/planning/needs": (f"{_PLANNING}/needs", f"{_PLANNING}/visits"),
            "scheduling/planning/visits": (f"{_PLANNING}/visits", f"{_PLANNING}/test_recorded.py"),
            "scheduling/planning/travel": (
                f"{_PLANNING}/travel",
                f"{_PLANNING}/rounds/test_traffic.py",
                f"{_PLANNING}/test_recorded.py",
            ),
            "scheduling/planning/rounds": (f"{_PLANNING}/test_recorded.py", f"{_PLANNING}/rounds"),
            "scheduling/planning/stock": (f"{_PLANNING}/stock",),
            "scheduling/planning/outlook": (f"{_PLANNING}/outlook",),
        },
    ),
    "diagnosis": Room(
        {"fleet/engineering/diagnosis": ("tests/fleet/engineering/diagnosis",)},
        slow=("tests/fleet/engineering/diagnosis/test_simulated_units.py",),
    ),
}
