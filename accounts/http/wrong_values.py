"""What a field says of a value that it does not take: what was sent, and what would be right.

REST framework's fields have a sentence for each of their checks ("A valid integer is required."), which tells neither
what came nor all that would do. Here are the sentences that take their place in every body and query. A field that says
something better of its own keeps it; a field of this project's own kind says what it takes by `what_it_takes`.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from django import forms
from rest_framework import fields, relations, serializers
from rest_framework.exceptions import ErrorDetail

A_MOMENT: Final = "a date and time with its offset from UTC, such as 2026-03-01T08:30:00+01:00"

_LONGEST_SHOWN: Final = 60
_CHOICES_SHOWN: Final = 40
# Faults of a whole object or list stand under this key.
_OF_THE_WHOLE: Final = "non_field_errors"


def explained(field: Any, faults: Any, sent: Any) -> Any:
    """Put this project's sentences in the place of the framework's.

    Parameters
    ----------
    field
        The field that refused; a serializer too.
    faults
        What it raised: sentences, or further faults by the name or index of what lies inside.
    sent
        What it was sent; `rest_framework.fields.empty` where nothing was.

    Returns
    -------
    Any
        Faults of the same shape.
    """
    if isinstance(faults, Mapping):
        return {
            name: explained(field, part, sent)
            if name == _OF_THE_WHOLE
            else explained(_part(field, name), part, _value(sent, name))
            for name, part in faults.items()
        }
    if isinstance(faults, list):
        if any(isinstance(fault, Mapping) for fault in faults):
            # Of a list of objects, one for each, empty where nothing is wrong.
            return [explained(_part(field, index), part, _value(sent, index)) for index, part in enumerate(faults)]
        sentences = [sentence(field, fault, sent) if _is_of_framework(field, fault) else fault for fault in faults]
        return list(dict.fromkeys(sentences))
    return faults


def sentence(field: Any, fault: ErrorDetail, sent: Any) -> ErrorDetail:
    """Say what was wrong with what was sent to a field, and what would be right."""
    if fault.code == "required" or sent is fields.empty:
        return ErrorDetail(f"This is missing; send {what_is_taken(field)}.", code=fault.code)
    return ErrorDetail(refusal(shown(sent, secret=field.write_only), what_is_taken(field)), code=fault.code)


def refusal(sent: str, right: str) -> str:
    """The sentence for what came and cannot be taken, from what is said of it and what would be right.

    >>> refusal("'soon'", "a day, such as 2026-03-01")
    "'soon' cannot be taken here; send a day, such as 2026-03-01."
    """
    return f"{sent} cannot be taken here; send {right}."


def shown(value: Any, *, secret: bool = False) -> str:
    """A value as a refusal repeats it: short, and without what is secret.

    >>> [shown(value) for value in ("soon", "", None, True, 7, [1, 2], {"a": 1})]
    ["'soon'", 'An empty text', 'null', 'true', '7', 'A list of 2', 'An object']
    """
    match value:
        case None:
            return "null"
        case bool():
            return "true" if value else "false"
        case str() if not value.strip():
            return "An empty text" if not value else "A blank text"
        case str() if secret:
            return "What was sent"
        case str() if len(value) > _LONGEST_SHOWN:
            return f"A text of {len(value)} characters, '{value[:_LONGEST_SHOWN]}...',"
        case str():
            return f"'{value}'"
        case Mapping():
            return "An object"
        case list() | tuple() | set():
            return "An empty list" if not value else f"A list of {len(value)}"
        case int() | float():
            return f"{value}"[:_LONGEST_SHOWN]
    return "What was sent"


def what_is_taken(field: Any) -> str:
    """What a field takes, to follow "send": its kind with its limits, or an example.

    >>> what_is_taken(serializers.IntegerField(min_value=1, max_value=12))
    'a whole number from 1 to 12'
    """
    own = getattr(field, "what_it_takes", None)
    if own is not None:
        return str(own() if callable(own) else own)
    match field:
        case serializers.ManyRelatedField():
            return f"a list, of each {what_is_taken(field.child_relation)}"
        case serializers.ListSerializer() | serializers.ListField():
            return _a_list(field)
        case serializers.MultipleChoiceField():
            return f"a list of words among: {_joined(field.choices)}"
        case serializers.ChoiceField():
            return f"one of: {_joined(field.choices)}"
        case serializers.BooleanField():
            return "true or false"
        case serializers.IntegerField():
            return f"a whole number{_from_to(field)}"
        case serializers.DecimalField():
            places = "" if field.decimal_places is None else f", with at most {field.decimal_places} decimals"
            return f"a number{_from_to(field) or _of_digits(field)}{places}"
        case serializers.FloatField():
            return f"a number{_from_to(field)}"
        case serializers.DateTimeField():
            return A_MOMENT
        case serializers.DateField():
            return "a day, such as 2026-03-01"
        case serializers.TimeField():
            return "a time of day, such as 08:30"
        case serializers.DurationField():
            return "a duration, such as 01:30:00"
        case serializers.EmailField():
            return "an e-mail address, such as name@host.example"
        case serializers.URLField():
            return "an address, such as https://host.example/path"
        case serializers.FileField():
            return "a file that is not empty, as multipart/form-data"
        case serializers.CharField():
            return f"a text{_length(field)}"
        case relations.RelatedField():
            return "the id of a row"
        case serializers.BaseSerializer() | serializers.DictField():
            return _an_object(field)
    return "a value as the description of this address has it"


def what_a_form_takes(field: forms.Field | None) -> str | None:
    """What the field of a filter takes, to follow "send"; None where nothing better is known than its own words."""
    choices = getattr(field, "choices", None)
    match field:
        case _ if choices:
            return f"one of: {_joined(value for value, _ in choices)}"
        case forms.DateField():
            return "a day, such as 2026-03-01"
        case forms.DateTimeField():
            return A_MOMENT
        case forms.IntegerField():
            return "a whole number"
        case forms.DecimalField() | forms.FloatField():
            return "a number"
    return None


def _patterns_of_framework(kind: type[Any]) -> list[re.Pattern[str]]:
    """The sentences that REST framework has for a kind of field, with anything in their places."""
    texts = {
        str(text)
        for base in kind.__mro__
        if base.__module__.startswith("rest_framework.")
        for text in getattr(base, "default_error_messages", {}).values()
    }
    return [re.compile(re.sub(r"\\\{\w+\\\}", ".*", re.escape(text)), re.DOTALL) for text in sorted(texts)]


def _is_of_framework(field: Any, fault: Any) -> bool:
    # A list of rows refuses itself what one of its rows refuses.
    kinds = {type(field), type(getattr(field, "child_relation", field))}
    return any(pattern.fullmatch(str(fault)) for kind in kinds for pattern in _patterns_of_framework(kind))


def _part(field: Any, name: Any) -> Any:
    """The field that reads one part of what a field reads."""
    if isinstance(field, serializers.Serializer):
        return field.fields.get(name)
    return getattr(field, "child", None) or getattr(field, "child_relation", None)


def _value(sent: Any, name: Any) -> Any:
    if isinstance(sent, Mapping):
        return sent.get(name, fields.empty)
    if isinstance(sent, Sequence) and not isinstance(sent, str) and isinstance(name, int) and name < len(sent):
        return sent[name]
    return fields.empty


def _joined(choices: Iterable[Any]) -> str:
    words = [str(choice) for choice in choices if choice not in ("", None)]
    more = len(words) - _CHOICES_SHOWN
    return ", ".join(words[:_CHOICES_SHOWN]) + (f" and {more} more" if more > 0 else "")


def _from_to(field: Any) -> str:
    least, most = getattr(field, "min_value", None), getattr(field, "max_value", None)
    match least is not None, most is not None:
        case True, True:
            return f" from {least} to {most}"
        case True, False:
            return f", {least} or more"
        case False, True:
            return f", {most} or less"
    return ""


def _of_digits(field: serializers.DecimalField) -> str:
    if field.max_whole_digits is None:
        return ""
    return f" below {10**field.max_whole_digits}"


def _length(field: serializers.CharField) -> str:
    least = max(field.min_length or 0, 0 if field.allow_blank else 1)
    if field.max_length is not None:
        return (
            f" of {least} to {field.max_length} characters" if least else f" of at most {field.max_length} characters"
        )
    return f" of at least {least} characters" if least > 1 else " that is not empty" if least else ""


def _a_list(field: Any) -> str:
    least, most = field.min_length or (0 if field.allow_empty else 1), field.max_length
    many = f" of {least} to {most}" if least and most else f" of at least {least}" if least else ""
    many = many or (f" of at most {most}" if most else "")
    child = field.child
    return (
        f"a list{many}" if isinstance(child, fields._UnvalidatedField) else f"a list{many}, each {what_is_taken(child)}"
    )


def _an_object(field: Any) -> str:
    if not isinstance(field, serializers.Serializer):
        return "an object"
    names = ", ".join(name for name, each in field.fields.items() if not each.read_only)
    return f"an object with the fields: {names}" if names else "an empty object"
