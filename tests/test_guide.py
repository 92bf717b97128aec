"""The contributors' guide and the README name files that are there."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PATH = re.compile(r"`((?:accounts|fleet|scheduling|tests|fixtures|\.ci)/[\w./-]*)`")


def named(page: str) -> list[str]:
    return sorted(set(PATH.findall((ROOT / page).read_text())))


def test_the_guide_names_files() -> None:
    assert len(named("DEVELOPERS.md")) > 20


@pytest.mark.parametrize("path", named("DEVELOPERS.md") + named("README.md"))
def test_a_file_that_is_named_is_there(path: str) -> None:
    assert (ROOT / path).exists()


def test_modules_are_named_by_their_whole_path() -> None:
    """A bare file name could be one of several."""
    bare = re.findall(r"`[\w]+\.py`", (ROOT / "DEVELOPERS.md").read_text().replace("`manage.py`", ""))
    assert bare == []
