"""Whether every word that a page leads to stands on the page of words, and each place once."""

import re
from pathlib import Path

import pytest

from accounts.models import Membership
from scheduling import templatetags
from tests.pages import signed_in, text_of

pytestmark = pytest.mark.interface

TEMPLATES = Path(templatetags.__file__).parents[1] / "templates"


def test_what_pages_lead_to_among_the_words_is_there(client_member: Membership) -> None:
    shown = text_of(signed_in(client_member).get("/words/"))
    places = re.findall(r"<dt id=\"([\w-]+)\">", shown)
    assert len(places) == len(set(places)) > 30
    assert shown.count("<dd>") == len(places)
    written = "".join(path.read_text() for path in TEMPLATES.rglob("*.html"))
    led_to = re.findall(r"\{% url .words. %\}#([\w-]+)", written)
    assert led_to
    assert set(led_to) <= set(places)
