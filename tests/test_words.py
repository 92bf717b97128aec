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
    "accounts/api",
    "accounts/dates.py",
    "accounts/language.py",
    "accounts/services",
    "fleet/api/diagnosis.py",
    "fleet/engineering/cautions.py",
    "fleet/engineering/diagnosis",
    "fleet/engineering/indicators",
    "fleet/engineering/positions.py",
    "fleet/engineering/purposes.py",
    "fleet/engineering/sizing",
    "fleet/forecasting/answer",
    "fleet/intake/history.py",
    "fleet/intake/words.py",
    "fleet/services",
    "scheduling/demo",
    "scheduling/exports",
    "scheduling/planning",
    "scheduling/services",
)
"""What speaks through `accounts.language`; the rest of the product follows room by room."""
# Names fields to its own refusals.
REFUSALS = ("scheduling/planning/rounds/problem.py",)
# Describe fields of the API, which is documented in English.
DESCRIPTIONS = ("accounts/api/descriptions.py", "fleet/engineering/diagnosis/facts.py")
TYPE = re.compile(r"[\w.]+\[.*\]")
TRANSLATED = {"gettext", "ngettext", "gettext_noop", "_"}
# A pattern of SQL, the name by which calendars know who wrote them, and actions of the trail.
FORMAL = (
    "%(expressions)s",
    "-//RO fleet//visits//EN",
    "report visit not done",
    "rotate lead and lag",
)


ERRORS = ("accounts.errors", "accounts.validation", "scheduling.planning.errors")


def refusals_of(tree: ast.Module) -> set[str]:
    """Names whose call makes a refusal: the errors a module imports, and its own functions that answer one."""
    names = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module in ERRORS
        for alias in node.names
    }
    own_functions = (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.returns is not None)
    return names | {node.name for node in own_functions if node.returns and ast.unparse(node.returns) in names}


def is_exempt(node: ast.AST, refusals: set[str]) -> bool:
    """Whether what is inside is translated, the text of a refusal, in the server's log, or describes a field."""
    if isinstance(node, ast.keyword):
        # `verb` is what a refusal says cannot be done
        return node.arg in ("help_text", "verb")
    if not isinstance(node, ast.Call):
        return isinstance(node, ast.Raise)
    if isinstance(node.func, ast.Name):
        return node.func.id in TRANSLATED | refusals
    return isinstance(node.func, ast.Attribute) and ast.unparse(node.func.value) == "log"


def exempt_parts(tree: ast.Module) -> Iterator[ast.AST]:
    """What is exempt, and in the same function what is kept under a name until it is told in a refusal."""
    refusals = refusals_of(tree)
    yield from (node for node in ast.walk(tree) if is_exempt(node, refusals))
    for table in ast.walk(tree):
        if isinstance(table, ast.Dict):
            pairs = zip(table.keys, table.values, strict=True)
            yield from (value for key, value in pairs if isinstance(key, ast.Constant) and key.value == "description")
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef):
            refused = [node for node in ast.walk(function) if isinstance(node, ast.Call | ast.Raise)]
            told = {
                part.id
                for node in refused
                if is_exempt(node, refusals)
                for part in ast.walk(node)
                if isinstance(part, ast.Name)
            }
            kept = (node for node in ast.walk(function) if isinstance(node, ast.Assign | ast.AugAssign))
            for node in kept:
                targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                if all(isinstance(target, ast.Name) and target.id in told for target in targets):
                    yield node


def untranslated(path: Path) -> Iterator[str]:
    """Words for people, more than three together, that no translation sees."""
    tree = ast.parse(path.read_text())
    inside: set[int] = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    inside |= {id(part) for node in exempt_parts(tree) for part in ast.walk(node)}
    inside |= {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in ast.walk(tree):
        if id(node) in inside:
            continue
        if isinstance(node, ast.JoinedStr):
            text = "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        else:
            continue
        if any(formal in text for formal in FORMAL) or TYPE.match(text):
            continue
        if len(re.findall(r"[A-Za-z]{2,}", text)) > 3 and " " in text:
            yield f"{path.relative_to(ROOT)}:{node.lineno}: {text}"


def test_what_speaks_to_people_builds_no_sentence_past_the_translation() -> None:
    paths = [
        path for name in SPOKEN for path in ([ROOT / name] if name.endswith(".py") else (ROOT / name).rglob("*.py"))
    ]
    assert len(paths) > 20
    kept = [path for path in paths if str(path.relative_to(ROOT)) not in (*REFUSALS, *DESCRIPTIONS)]
    assert not [line for path in kept for line in untranslated(path)]


def test_a_sentence_past_the_translation_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.test_words.ROOT", tmp_path)
    module = tmp_path / "module.py"
    module.write_text(
        '"""Of a module that speaks."""\n'
        'told = gettext("The water is good today."), f"The water of {unit} is good."\n'
        'TABLE = {"good": gettext_noop("The water is very good."), "bad": "The water is not good."}\n'
        'raise Error("The water is not yet known.")\n'
        "from accounts.errors import Conflict, Fault\n"
        "from scheduling.planning.rounds.evaluate import Fault as Broken\n"
        "def check():\n"
        '    why = "The water was not read."\n'
        '    other = "The water was read again."\n'
        '    return Fault("/water", why), Broken("water", "The water is closed today.")\n'
        "def refusal() -> Conflict:\n"
        '    why = "The water is not here."\n'
        '    return Conflict("water", why)\n'
        'refused = refusal("The water is not there.")\n'
    )
    assert list(untranslated(module)) == [
        "module.py:2: The water of {} is good.",
        "module.py:3: The water is not good.",
        "module.py:9: The water was read again.",
        "module.py:10: The water is closed today.",
    ]
