"""One word per concept in what people read: no text of the product uses a word that the guide's table replaces."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("accounts", "fleet", "scheduling")
OLD_WORDS = (
    r"\bused up\b",
    r"\bspent\b",
    r"\bage limit\b",
    r"\btime cap\b",
    r"\bworn out\b",
    r"\bcalled off\b",
    r"\bset out\b",
    r"\bgiven? up\b",
    r"\bmend(s|ed)?\b",
    r"\bsomething (came|comes)\b",
    r"\bstands twice\b",
    r"\bas it stands\b",
    r"\bcannot be meant\b",
    r"\bcannot have happened\b",
    r"\bday\(s\)",
)
# Spellings that the intake of files understands are the sender's words, not ours.
SPELLINGS = "fleet/forecasting/files/words.py"


def texts(path: Path) -> Iterator[tuple[int, str]]:
    """Every string literal of a module that is no docstring and reads like words, with its line."""
    tree = ast.parse(path.read_text())
    docstrings = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or id(node) in docstrings:
            continue
        if isinstance(node.value, str) and " " in node.value.strip():
            yield node.lineno, node.value


@pytest.fixture(scope="module")
def product_texts() -> list[tuple[str, str]]:
    """Where each text of the product stands, and the text."""
    paths = [path for room in ROOMS for path in sorted((ROOT / room).rglob("*.py")) if "migrations" not in path.parts]
    names = [(path, str(path.relative_to(ROOT))) for path in paths]
    return [(f"{name}:{line}", text) for path, name in names if name != SPELLINGS for line, text in texts(path)]


@pytest.mark.parametrize("old", OLD_WORDS)
def test_no_text_for_people_uses_a_word_that_the_guide_replaces(old: str, product_texts: list[tuple[str, str]]) -> None:
    assert not [f"{place}: {text}" for place, text in product_texts if re.search(old, text, re.IGNORECASE)]


SPOKEN = (
    "accounts/language.py",
    "fleet/forecasting/answer",
    "fleet/services/forecasts",
    "fleet/services/status.py",
    "scheduling/planning/rounds/differences.py",
    "scheduling/planning/visits",
    "scheduling/services/people",
)
"""What speaks through `accounts.language`; the rest of the product follows room by room."""
# Only refusals are built here, beside the condition that they state.
REFUSALS = ("scheduling/services/people/absences.py", "fleet/services/forecasts/quality.py")
TRANSLATED = {"gettext", "ngettext"}


def untranslated(path: Path) -> Iterator[str]:
    """Sentences of a module that neither pass through a translation nor are the text of an error."""
    tree = ast.parse(path.read_text())
    inside: set[int] = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        is_translated = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in TRANSLATED
        if is_translated or isinstance(node, ast.Raise):
            inside.update(id(part) for part in ast.walk(node))
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr) and id(node) not in inside:
            text = "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
            if text.rstrip().endswith(".") and len(re.findall(r"[A-Za-z]{2,}", text)) > 3:
                yield f"{path.relative_to(ROOT)}:{node.lineno}: {text}"


def test_what_speaks_to_people_builds_no_sentence_past_the_translation() -> None:
    paths = [
        path for name in SPOKEN for path in ([ROOT / name] if name.endswith(".py") else (ROOT / name).rglob("*.py"))
    ]
    assert len(paths) > 20
    kept = [path for path in paths if str(path.relative_to(ROOT)) not in REFUSALS]
    assert not [line for path in kept for line in untranslated(path)]
