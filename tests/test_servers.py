"""A run of the tests has its files to itself and leaves none behind."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
STORES_A_PICTURE = (
    "tests/scheduling/api/test_service_records_api.py"
    "::test_pictures_are_kept_once_and_read_by_those_who_may_see_the_report"
)


@pytest.fixture
def folder() -> Iterator[Path]:
    """A temporary folder with a short path: `tmp_path` has no room for the path of a socket."""
    with tempfile.TemporaryDirectory(prefix="t-") as path:
        yield Path(path)


def run_apart(folder: Path, *arguments: str, **variables: str) -> None:
    """Run pytest in a process of its own that has `folder` for its temporary folder."""
    ours = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST", "DATABASE_URL"))}
    command = [sys.executable, "-m", "pytest", "-q", *arguments]
    environment = ours | {"TMPDIR": str(folder), **variables}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.long
def test_nothing_is_left_in_the_temporary_folder(folder: Path) -> None:
    """Database, picture and `tmp_path` of a test on SQLite that a worker of the runner runs."""
    run_apart(folder, "-n", "1", STORES_A_PICTURE, TEST_DATABASE="sqlite")
    assert list(folder.iterdir()) == []


@pytest.mark.long
def test_two_users_can_each_start_a_postgresql(folder: Path) -> None:
    """Somebody else's lock, which cannot be opened, stands where the wheel would put its own."""
    lock = folder / ".lockfile"
    lock.mkdir()
    run_apart(folder, "-n", "0", STORES_A_PICTURE, TEST_DATABASE="postgresql", XDG_RUNTIME_DIR=str(folder / "none"))
    assert list(folder.iterdir()) == [lock]
