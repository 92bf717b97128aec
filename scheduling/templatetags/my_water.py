"""Numbers and bands of the client's pages: `{% load my_water %}`."""

from typing import Any

from django import template

from scheduling.pages.my_water.documents import expected_words

register = template.Library()
register.filter("expected", expected_words)


@register.filter
def plain(value: Any) -> str:
    """A number without digits that say nothing; nothing where there is none."""
    return f"{value:.4g}" if isinstance(value, int | float) else ""
