"""Numbers and bands of the client's pages: `{% load my_water %}`."""

from typing import Any

from django import template

from accounts.figures import figures
from scheduling.pages.my_water.documents import expected_words

register = template.Library()
register.filter("expected", expected_words)


@register.filter
def plain(value: Any) -> str:
    """A number without digits that say nothing; nothing where there is none."""
    return figures(value, 4) if isinstance(value, int | float) else ""
