"""What pages say, in the language spoken now: `{% load words %}`.

    {% translate "Your water" %}
    {% translate "{count} reading" many="{count} readings" count=shown %}
    {% field form.email label="E-mail address" hint="The one your letters come to." %}

Texts are whole sentences with named fields, as everywhere in the house; `manage.py texts` reads them out of the
templates (`accounts/template_texts.py`).
"""

from datetime import date, datetime
from typing import Any

from django import template
from django.forms import BoundField

from accounts.dates import calendar_day, long_day, short_day
from accounts.language import gettext, ngettext

register = template.Library()


@register.simple_tag
def translate(text: str, many: str = "", **facts: Any) -> str:
    """A text with its facts; with `many`, the plural form for the fact `count`."""
    spoken_text = ngettext(text, many, int(facts["count"])) if many else gettext(text)
    return spoken_text.format(**facts) if facts else spoken_text


@register.filter
def spoken(text: Any) -> str:
    """A text of a table that was marked for translation where it stands."""
    return gettext(str(text))


@register.filter
def dial(phone: str) -> str:
    """A telephone number as an address to call: RFC 3966 knows no blanks.

    >>> dial("+49 30 (555) 01-23")
    '+49305550123'
    """
    return "".join(sign for sign in phone if sign.isdigit() or sign == "+")


@register.filter
def as_day(value: Any, form: str = "long") -> str:
    """A day, or an ISO text of one: 'long' with its weekday, 'short', or 'calendar' with its year; '' for none."""
    if not value:
        return ""
    day = value if isinstance(value, date) else datetime.fromisoformat(str(value)).date()
    match form:
        case "short":
            return short_day(day)
        case "calendar":
            return calendar_day(day)
    return long_day(day)


@register.filter(expects_localtime=True)
def as_moment(value: Any, form: str = "long") -> str:
    """A day and its hour on the clock of the page, the day in one of the forms of `as_day`; '' for none."""
    if not value:
        return ""
    moment = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    return gettext("{day}, {hour}").format(day=as_day(moment, form), hour=f"{moment:%H:%M}")


@register.inclusion_tag("accounts/parts/field.html")
def field(bound: BoundField, label: str, hint: str = "") -> dict[str, Any]:
    """One field of a form: its label, a hint, its faults beside it, and both tied to it for screen readers."""
    described = [f"{bound.auto_id}-{part}" for part, is_there in (("hint", hint), ("fault", bound.errors)) if is_there]
    attributes: dict[str, str | bool] = {"aria-describedby": " ".join(described)} if described else {}
    if bound.errors:
        attributes["aria-invalid"] = "true"
    return {
        "bound": bound,
        "label": gettext(label),
        "hint": gettext(hint),
        "widget": bound.as_widget(attrs=attributes),
        "is_box": getattr(bound.field.widget, "input_type", "") == "checkbox",
        "is_group": bound.use_fieldset,
    }
