"""The quantities of a reading are listed in one place."""

import ast
from pathlib import Path

from fleet.engineering.quantities import READING_QUANTITIES

ROOT = Path(__file__).parents[2]


def _named_together(path: Path) -> int:
    """How many quantities the longest list, set or mapping of a file names."""
    names = {quantity.name for quantity in READING_QUANTITIES}
    most = 0
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        members = node.keys if isinstance(node, ast.Dict) else getattr(node, "elts", [])
        most = max(most, len(names & {member.value for member in members if isinstance(member, ast.Constant)}))
    return most


def test_no_other_file_lists_the_quantities() -> None:
    """Rules name the quantities they are about; a list of two thirds of them is a second table.

    The invented logs of the demo hold some quantities and leave others out on purpose.
    """
    rooms = (path for room in ("accounts", "fleet", "scheduling") for path in (ROOT / room).rglob("*.py"))
    lists = [
        path.relative_to(ROOT).as_posix()
        for path in rooms
        if not {"migrations", "demo"} & set(path.parts) and _named_together(path) > len(READING_QUANTITIES) * 2 / 3
    ]
    assert lists == []
