"""The language people are spoken to in: every sentence of a `words` module passes through here. Knows no Django.

Sentences are written in English, and English is what is spoken until somebody names another language. Whoever does
gives the translations of the standard library; `speak` holds for the block, in this thread or task alone.
"""

import gettext as catalogues
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Final

Translations = catalogues.NullTranslations

ENGLISH: Final = Translations()
DOMAIN: Final = "people"
"""Name of the message catalogues, as in `locale/de/LC_MESSAGES/people.mo`."""

_spoken: ContextVar[Translations] = ContextVar("language")
_usual: list[Translations] = [ENGLISH]


def gettext(text: str) -> str:
    """A text in the language spoken now; facts go into its named fields afterwards.

    >>> gettext("No reading for {days} days.").format(days=9)
    'No reading for 9 days.'
    """
    # An empty text would be answered with the head of the catalogue.
    return current().gettext(text) if text else ""


def gettext_noop(text: str) -> str:
    """Mark a text of a table that `gettext` translates where it is told, so that it gets into the catalogue."""
    return text


def ngettext(one: str, many: str, count: int) -> str:
    """One of the plural forms of a text, by the rule of the language spoken now.

    >>> [ngettext("{count} day", "{count} days", count).format(count=count) for count in (1, 2)]
    ['1 day', '2 days']
    """
    return current().ngettext(one, many, count)


def listed(parts: Sequence[str]) -> str:
    """Parts of a sentence in a row.

    >>> listed(["order"]), listed(["load", "drive", "fit"])
    ('order', 'load, drive and fit')
    """
    if len(parts) < 2:
        return "".join(parts)
    return gettext("{several} and {last}").format(several=", ".join(parts[:-1]), last=parts[-1])


def current() -> Translations:
    """What is spoken now: of the block, else of the process."""
    return _spoken.get(_usual[0])


@contextmanager
def speak(translations: Translations) -> Iterator[None]:
    """Speak another language in this block."""
    token = _spoken.set(translations)
    try:
        yield
    finally:
        _spoken.reset(token)


def speak_in_process(code: str, directory: Path) -> None:
    """Speak a language in every thread of this process from now on: web server, worker and command alike.

    Parameters
    ----------
    code
        Language as in 'de' or 'pt-BR'; 'en' needs no catalogue.
    directory
        Where the catalogues lie, one folder a language.

    Raises
    ------
    FileNotFoundError
        There is no catalogue of the language.
    """
    _usual[0] = load(code, directory)


def catalogue_of(code: str, directory: Path) -> Path:
    """Where the compiled catalogue of a language lies."""
    return directory / code.replace("-", "_") / "LC_MESSAGES" / f"{DOMAIN}.mo"


def load(code: str, directory: Path) -> Translations:
    """The translations of a language; English for 'en', FileNotFoundError where there is no catalogue."""
    if code.partition("-")[0] == "en":
        return ENGLISH
    return catalogues.translation(DOMAIN, directory, [code.replace("-", "_")])
