"""How templates write units of measure: `{% load units %}{{ "uS/cm"|written }}`."""

from typing import Any

from django import template

from fleet.pages.units import as_written

register = template.Library()


@register.filter
def written(text: Any) -> str:
    """A unit, or a text with units in it, as people write it."""
    return as_written(str(text))
