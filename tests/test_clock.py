"""Who works is told the time: views, tasks and commands read the clock, and everything below them is given it."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TOLD_THE_TIME = (
    "accounts/services",
    "accounts/models.py",
    "fleet/engineering",
    "fleet/forecasting",
    "fleet/intake",
    "fleet/demo",
    "fleet/models",
    "fleet/services",
    "scheduling/exports",
    "scheduling/models",
    "scheduling/planning",
    "scheduling/services",
)
CLOCKS = {
    ("timezone", "now"),
    ("timezone", "localdate"),
    ("timezone", "localtime"),
    ("datetime", "now"),
    ("datetime", "utcnow"),
    ("datetime", "today"),
    ("date", "today"),
    ("time", "time"),
}


def looks_at_the_clock(source: str) -> Iterator[int]:
    """Lines that name a function of the clock, called or handed on (as a default of a field is)."""
    imported: dict[str, tuple[str, str]] = {}
    aliases: dict[str, str] = {}
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom):
            owner = (node.module or "").split(".")[-1]
            for name in node.names:
                aliases[name.asname or name.name] = name.name
                imported[name.asname or name.name] = (owner, name.name)
        elif isinstance(node, ast.Import):
            aliases |= {name.asname: name.name.split(".")[-1] for name in node.names if name.asname}
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute):
            owner = node.value.attr if isinstance(node.value, ast.Attribute) else getattr(node.value, "id", "")
            if (aliases.get(owner, owner), node.attr) in CLOCKS:
                yield node.lineno
        elif isinstance(node, ast.Name) and imported.get(node.id) in CLOCKS:
            yield node.lineno


@pytest.mark.parametrize(
    ("source", "lines"),
    [
        ("from django.utils import timezone\nat = timezone.now()", [2]),
        ("import datetime as dt\nat = dt.datetime.now(dt.UTC)", [2]),
        ("from datetime import date as day\nat = day.today()", [2]),
        ("from django.utils.timezone import now\nfield(default=now)", [2]),
        (
            "from django.db import models\nfrom django.utils import timezone as tz\nmodels.DateField(default=tz.now)",
            [3],
        ),
        ("import time\nbegun = time.perf_counter()", []),
        ("def f(now):\n    return now.date(), row.now, self.today()", []),
    ],
)
def test_a_look_at_the_clock_is_seen_however_it_is_written(source: str, lines: list[int]) -> None:
    assert list(looks_at_the_clock(source)) == lines


@pytest.mark.parametrize("room", TOLD_THE_TIME)
def test_nobody_below_the_doors_looks_at_the_clock(room: str) -> None:
    files = sorted((ROOT / room).rglob("*.py")) if (ROOT / room).is_dir() else [ROOT / room]
    assert files
    calls = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in files
        for line in looks_at_the_clock(path.read_text(encoding="utf-8"))
    ]
    assert not calls, f"take `now` as an argument instead: {', '.join(calls)}"
