"""Every text that a translation needs, taken from the source: a template in the PO format of GNU gettext. No Django.

A translator copies the template to `LANGUAGE/LC_MESSAGES/people.po` in `LOCALE_DIR`, writes the translations, and
compiles it to the `people.mo` beside it.
"""

import ast
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

_CALLS: Final = {"gettext": 1, "gettext_noop": 1, "_": 1, "ngettext": 2}
_HEAD: Final = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=UTF-8\\n"\n"Plural-Forms: \\n"\n'


@dataclass(frozen=True, slots=True, order=True)
class Text:
    """A text as it is written in English; `many` is its plural form, empty where it has none."""

    one: str
    many: str = ""


def texts_in(source: str) -> Iterator[tuple[int, Text]]:
    """Every text of a module that passes through the language module, with its line."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name) or node.func.id not in _CALLS:
            continue
        forms = [form for form in node.args[: _CALLS[node.func.id]] if isinstance(form, ast.Constant)]
        written = [form.value for form in forms if isinstance(form.value, str) and form.value]
        if len(written) == _CALLS[node.func.id]:
            yield node.lineno, Text(*written)


def texts_of(root: Path, packages: Iterable[str]) -> dict[Text, list[str]]:
    """Every text of some packages under a folder, with the places where it stands, in the order of the source."""
    places: dict[Text, list[str]] = {}
    for package in packages:
        for path in sorted((root / package).rglob("*.py")):
            for line, text in texts_in(path.read_text(encoding="utf-8")):
                places.setdefault(text, []).append(f"{path.relative_to(root)}:{line}")
    return places


def template(texts: Mapping[Text, Iterable[str]]) -> str:
    """The template; a text that stands once with a plural form and once without is one entry, with it.

    >>> print(template({Text("{n} day", "{n} days"): ["fleet/words.py:7"]}).split(chr(10) * 2)[1], end="")
    #: fleet/words.py:7
    msgid "{n} day"
    msgid_plural "{n} days"
    msgstr[0] ""
    msgstr[1] ""
    """
    entries: dict[str, tuple[str, list[str]]] = {}
    for text, places in texts.items():
        many, known_places = entries.get(text.one, ("", []))
        entries[text.one] = (many or text.many, [*known_places, *places])
    return "\n".join([_HEAD, *(_entry(one, many, places) for one, (many, places) in entries.items())])


def _entry(one: str, many: str, places: Iterable[str]) -> str:
    lines = [f"#: {place}" for place in places]
    lines.append(f"msgid {_quoted(one)}")
    lines += [f"msgid_plural {_quoted(many)}", 'msgstr[0] ""', 'msgstr[1] ""'] if many else ['msgstr ""']
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n").replace("\t", "\\t")
    return f'"{escaped}"'
