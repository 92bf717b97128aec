"""A language in which every translated letter is another one, so that English that nobody translates is seen."""

import re
from string import Formatter

from accounts.language import Translations

_FAR = ord("Ａ") - ord("A")
_ENGLISH = re.compile(r"[A-Za-z]{2,}(?:[ '-][A-Za-z]+)*")


class Pseudo(Translations):
    """Turns the letters of each text into wide ones; fields in braces stay."""

    def gettext(self, message: str) -> str:
        return _widened(message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return _widened(msgid1 if n == 1 else msgid2)


PSEUDO = Pseudo()


def english_in(text: str, *facts: str) -> list[str]:
    """Runs of English letters that were not translated and are none of the facts (names, codes, units)."""
    for fact in sorted(facts, key=len, reverse=True):
        text = text.replace(fact, "")
    return _ENGLISH.findall(text)


def _widened(message: str) -> str:
    parts = []
    for literal, name, spec, _ in Formatter().parse(message):
        parts.append("".join(_wide(c) for c in literal).replace("{", "{{").replace("}", "}}"))
        if name is not None:
            parts.append("{" + name + (f":{spec}" if spec else "") + "}")
    return "".join(parts)


def _wide(character: str) -> str:
    return chr(ord(character) + _FAR) if character.isascii() and character.isalpha() else character
