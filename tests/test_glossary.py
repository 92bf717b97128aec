"""Names in code and API keep to the glossary of the guide: none uses a word that its column 'not' gives up.

A word that is right in another sense is allowed, as a whole or in one name, with that sense as its reason.
"""

import ast
import re
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator

ROOT = Path(__file__).parents[1]
ROOMS = ("accounts", "fleet", "scheduling")

# Words with a sense of their own beside the one that the glossary gives to another word.
WORDS_IN_ANOTHER_SENSE = {
    "job": "computing in the background, as the glossary says in a row of its own",
    "policy": "what a company holds worth what: prices, risks and times, not a limit of exhaustion",
    "work": "what an installer does at a unit; what has to be done is a need, and on a visit a task",
}
NAMES_IN_ANOTHER_SENSE = {
    "HOUSE": "the limits of the house, where neither company, use nor unit has its own",
    "bring_in": "of a company: from the sheets people keep",
    "take_out": "of a company: as such sheets",
    "hours_standing": "of water: how long the unit made none",
    "promise": "of sizing: what a client was told that a new unit gives",
    "Promise": "of sizing",
    "promised": "of sizing",
    "PromisedSerializer": "of sizing",
    "get_promised": "of sizing",
    "as_promised": "of sizing",
    "shelf": "of an item: where in the store it lies",
    "speed_drop_km_per_h": "by how much trips are slower nearby than far away",
    "drop": "a verb: a person says that a need is not one",
    "drop_need": "a verb: a person says that a need is not one",
    "dropped": "of a need that is not one, and of a stop that a plan leaves out",
    "DROPPED": "of a need that is not one, and of a stop that a plan leaves out",
    "dropped_cents": "of a stop that a plan leaves out",
    "is_dropped": "of a stop that a plan leaves out",
    "needs_dropped": "of a need that is not one",
    "row_dropped": "a row of a file that is not used",
}


def words_given_up() -> dict[str, str]:
    """Word of the column 'not' -> the words that the glossary says instead."""
    section = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n## Words\n")[1].split("\n## ")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in section.splitlines() if line[:1] == "|"]
    assert rows[0] == ["say", "meaning", "not"]
    return {word.strip(): say for say, _, instead in rows[2:] for word in instead.split(",") if word.strip()}


@cache
def pattern_of(phrase: str) -> re.Pattern[str]:
    """Finds a word, or several in a row, with their endings: stay, stays, stayed; cap, capped; promise, promised."""
    first, *rest = phrase.split()
    stem = first.removesuffix("e")
    return re.compile(rf"(?<![^ ])(?:{first}s?|{stem}{first[-1]}?ed){''.join(f' {word}' for word in rest)}(?![^ ])")


@cache
def parts_of(name: str) -> str:
    """The words of a name, whichever way they are joined: `clean_drop_kpa`, `CleanDrop`, `clean-drop`."""
    return " ".join(re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)).lower()


def uses(name: str, phrase: str) -> bool:
    """Whether a name holds a word, or several in a row."""
    return pattern_of(phrase).search(parts_of(name)) is not None


def defined(tree: ast.Module) -> Iterator[str]:
    """Names that a module gives to something, or to an argument that it passes."""
    for node in ast.walk(tree):
        match node:
            case ast.FunctionDef(name=name) | ast.AsyncFunctionDef(name=name) | ast.ClassDef(name=name):
                yield name
            case ast.arg(arg=name) | ast.keyword(arg=str(name)) | ast.alias(asname=str(name)):
                yield name
            case ast.Name(id=name, ctx=ast.Store()) | ast.Attribute(attr=name, ctx=ast.Store()):
                yield name


def names_of_code() -> Iterator[tuple[str, str]]:
    for room in ROOMS:
        for path in (ROOT / room).rglob("*.py"):
            if "migrations" in path.parts:
                continue
            where = str(path.relative_to(ROOT))
            yield path.stem, where
            yield path.parent.name, where
            for name in set(defined(ast.parse(path.read_text(encoding="utf-8")))):
                yield name, where


def names_of_description(part: Any, where: str = "") -> Iterator[tuple[str, str]]:
    """Fields, parameters, values to choose from and steps of paths of an OpenAPI description."""
    if isinstance(part, list):
        for each in part:
            yield from names_of_description(each, where)
    if not isinstance(part, Mapping):
        return
    if isinstance(part.get("properties"), Mapping):
        yield from ((name, where) for name in part["properties"])
    if isinstance(part.get("enum"), list):
        yield from ((value, where) for value in part["enum"] if isinstance(value, str))
    if {"in", "name"} <= part.keys() and isinstance(part["name"], str):
        yield part["name"], where
    for key, each in part.items():
        if key.startswith("/"):
            yield from ((step, key) for step in key.split("/") if step and "{" not in step)
        yield from names_of_description(each, where or key)


@pytest.fixture(scope="module")
def names() -> set[tuple[str, str]]:
    with GENERATOR_STATS.silence():
        description = SchemaGenerator().get_schema(request=None, public=True)
    of_description = {
        (name, f"API {where}")
        for key in ("paths", "components")
        for part in description[key].items()
        for name, where in names_of_description(dict([part]))
    }
    return {*names_of_code(), *of_description}


def test_no_name_uses_a_word_that_the_glossary_gives_up(names: set[tuple[str, str]]) -> None:
    given_up = {word: say for word, say in words_given_up().items() if word not in WORDS_IN_ANOTHER_SENSE}
    assert len(given_up) > 20
    assert len(names) > 10_000
    faults = sorted(
        f"{name} ({where}): '{word}' is given up; say one of: {say}"
        for name, where in names
        if name not in NAMES_IN_ANOTHER_SENSE
        for word, say in given_up.items()
        if uses(name, word)
    )
    assert faults == []


def test_what_is_allowed_is_used(names: set[tuple[str, str]]) -> None:
    assert NAMES_IN_ANOTHER_SENSE.keys() <= {name for name, _ in names}
    assert WORDS_IN_ANOTHER_SENSE.keys() <= words_given_up().keys()
    used = {word for word in WORDS_IN_ANOTHER_SENSE for name, _ in names if uses(name, word)}
    assert used == WORDS_IN_ANOTHER_SENSE.keys()


@pytest.mark.parametrize(
    ("name", "phrase"),
    [
        ("Thresholds", "threshold"),
        ("clean_drop_kpa", "drop"),
        ("is_capped", "cap"),
        ("CAP_DAYS", "cap"),
        ("looked-at", "look"),
        ("promisedDate", "promise"),
        ("days_used_up", "used up"),
        ("give_up_at", "give up"),
    ],
)
def test_a_word_is_recognised_in_a_name(name: str, phrase: str) -> None:
    assert uses(name, phrase)


@pytest.mark.parametrize(
    ("name", "phrase"),
    [
        ("capacity", "cap"),
        ("outlook", "look"),
        ("used_days", "used up"),
        ("standard", "standing"),
        ("shelfmark", "shelf"),
    ],
)
def test_a_part_of_a_word_is_none(name: str, phrase: str) -> None:
    assert not uses(name, phrase)
