"""One language is spoken in a block or a process; English until another is named."""

import threading
from pathlib import Path

import pytest

from accounts import language
from tests.pseudo_language import PSEUDO, english_in


def test_english_is_spoken_until_another_language_is_named() -> None:
    assert language.gettext("No reading for {days} days.") == "No reading for {days} days."
    assert [language.ngettext("{n} day", "{n} days", n) for n in (0, 1, 2)] == ["{n} days", "{n} day", "{n} days"]


def test_another_language_is_spoken_in_its_block_alone() -> None:
    elsewhere: list[str] = []
    with language.speak(PSEUDO):
        assert english_in(language.gettext("No reading for {days} days.").format(days=9)) == []
        thread = threading.Thread(target=lambda: elsewhere.append(language.gettext("No reading.")))
        thread.start()
        thread.join()
    assert elsewhere == ["No reading."]
    assert language.gettext("No reading.") == "No reading."


def test_a_language_without_a_catalogue_stops_the_start(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        language.speak_in_process("de", tmp_path)
    language.speak_in_process("en-GB", tmp_path)
    assert language.current() is language.ENGLISH


def test_a_catalogue_is_spoken_with_its_own_plurals(tmp_path: Path) -> None:
    folder = tmp_path / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    (folder / "people.mo").write_bytes(a_catalogue())
    with language.speak(language.load("de", tmp_path)):
        spoken = [language.ngettext("{n} day", "{n} days", n).format(n=n) for n in (0, 1, 2)]
        assert [*spoken, language.gettext("other")] == ["0 Tage", "1 Tag", "2 Tage", "other"]
        assert language.gettext("") == "", "not the head of the catalogue"


def a_catalogue() -> bytes:
    """A compiled catalogue of one text, laid out by hand as GNU gettext documents its .mo files."""
    head = "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=2; plural=(n != 1);\n"
    texts = [("", head), ("{n} day\0{n} days", "{n} Tag\0{n} Tage")]
    start, blob = 28 + 16 * len(texts), b""
    tables: tuple[list[int], list[int]] = ([], [])
    for side in (0, 1):
        for pair in texts:
            raw = pair[side].encode()
            tables[side].extend((len(raw), start + len(blob)))
            blob += raw + b"\0"
    numbers = [0x950412DE, 0, len(texts), 28, 28 + 8 * len(texts), 0, 0, *tables[0], *tables[1]]
    return b"".join(number.to_bytes(4, "little") for number in numbers) + blob
