"""The template for translators holds every text of a module, once, and says where it stands."""

from io import BytesIO
from pathlib import Path

from babel.messages.pofile import read_po

from accounts.catalogue import template, texts_of

SOURCE = '''"""A module that speaks."""
from accounts.language import gettext, gettext_noop as _, ngettext

NAMES = (_("lead resin"), gettext("a \\\\ \\"quoted\\" word"))
TOLD = ngettext("{n} day", "{n} days", 2)
ASKED = gettext(NAMES[0]) + gettext("") + other("no text")
LONG = gettext(
    "One sentence "
    "in two lines.\\n"
)
'''


def test_every_text_of_a_module_is_in_the_template_as_it_was_written(tmp_path: Path) -> None:
    (tmp_path / "room").mkdir()
    (tmp_path / "room/words.py").write_text(SOURCE)
    texts = read_po(BytesIO(template(texts_of(tmp_path, ["room"])).encode()))
    assert {text.id: [line for _, line in text.locations] for text in texts if text.id} == {
        "lead resin": [4],
        'a \\ "quoted" word': [4],
        ("{n} day", "{n} days"): [5],
        "One sentence in two lines.\n": [8],
    }


def test_a_text_of_two_modules_is_one_entry_with_both_places(tmp_path: Path) -> None:
    room = tmp_path / "room"
    room.mkdir()
    (room / "one.py").write_text('TOLD = gettext("{n} day")\n')
    (room / "two.py").write_text('\nTOLD = ngettext("{n} day", "{n} days", 3)\n')
    written = template(texts_of(tmp_path, ["room"]))
    assert written.count("msgid ") == 2, "its head, and one entry of two forms"
    assert written.count("msgid_plural") == 1
    assert "#: room/one.py:1 room/two.py:2\n" in written
