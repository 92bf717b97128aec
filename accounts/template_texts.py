"""The texts of templates that a translation needs: those of the tags of `accounts/templatetags/words.py`. No Django."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

_TAG: Final = re.compile(r"\{%\s*(translate|field)\s+(.*?)%\}", re.DOTALL)
_STRING: Final = re.compile(r"""(?:(\w+)=)?("[^"]*"|'[^']*')""")
_SPOKEN: Final = {"translate": ("", "many"), "field": ("label", "hint")}

Text = str | tuple[str, str]


def texts_of_templates(root: Path, package: str) -> Iterator[tuple[str, int, Text]]:
    """Every text in the templates of a package: its file, its line, and the text, with its plural where it has one."""
    for path in sorted((root / package).rglob("templates/**/*")):
        if path.is_file():
            yield from ((str(path.relative_to(root)), line, text) for line, text in texts_in(path.read_text()))


def texts_in(source: str) -> Iterator[tuple[int, Text]]:
    """Every text of one template, with its line.

    >>> list(texts_in('{% translate "One reading" many="{count} readings" count=n %}'))
    [(1, ('One reading', '{count} readings'))]
    """
    for tag in _TAG.finditer(source):
        line = source.count("\n", 0, tag.start()) + 1
        found = {name: ast.literal_eval(text) for name, text in _STRING.findall(tag[2]) if name in _SPOKEN[tag[1]]}
        texts = [found[name] for name in _SPOKEN[tag[1]] if found.get(name)]
        if tag[1] == "translate" and len(texts) == 2:
            yield line, (texts[0], texts[1])
        else:
            yield from ((line, text) for text in texts)
