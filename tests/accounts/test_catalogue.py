"""The template for translators holds every text of a module, once, and says where it stands."""

import ast
from pathlib import Path

from accounts.catalogue import Text, template, texts_in, texts_of

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


def test_every_text_of_a_module_is_found() -> None:
    assert list(texts_in(SOURCE)) == [
        (5, Text("{n} day", "{n} days")),
        (7, Text("One sentence in two lines.\n")),
        (4, Text("lead resin")),
        (4, Text('a \\ "quoted" word')),
    ]


def test_a_text_of_two_modules_is_one_entry_with_both_places(tmp_path: Path) -> None:
    room = tmp_path / "room"
    room.mkdir()
    (room / "one.py").write_text('TOLD = gettext("{n} day")\n')
    (room / "two.py").write_text('\nTOLD = ngettext("{n} day", "{n} days", 3)\n')
    texts = texts_of(tmp_path, ["room"])
    assert texts == {Text("{n} day"): ["room/one.py:1"], Text("{n} day", "{n} days"): ["room/two.py:2"]}
    assert template(texts).count("msgid") == 3, "its head, and one entry of two forms"
    assert "#: room/one.py:1\n#: room/two.py:2\n" in template(texts)


def test_what_is_written_reads_back_as_it_was() -> None:
    texts = {text: ["place"] for _, text in texts_in(SOURCE)}
    lines = [line.partition(" ") for line in template(texts).splitlines()]
    ones = [ast.literal_eval(value) for name, _, value in lines if name == "msgid"]
    many = [ast.literal_eval(value) for name, _, value in lines if name == "msgid_plural"]
    assert ones == ["", *(text.one for text in texts)]
    assert many == ["{n} days"]
