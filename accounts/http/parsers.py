"""Bodies as JSON: what a database could not hold, or two readers would read differently, is refused here."""

import json
import math
from typing import IO, Any, Final

from django.conf import settings
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import JSONParser, MultiPartParser

from accounts.errors import Fault, InvalidInput, escape_pointer

# Python's own reader would give up with an error of its own a little later; no honest payload is nested so deep.
_DEEPEST = 50
# 10,000 readings with all their values are half as many; more would be minutes of work and gigabytes of memory for a
# body that the server takes for its length.
_MOST_VALUES = 2_000_000
# More than any number of the house has, and fewer than make a float overflow.
_MOST_DIGITS = 300


class TooLarge(APIException):
    """The body is longer than the server takes."""

    status_code = 413
    default_code = "too_large"


MOST_BYTES_OF_A_FORM: Final = 21_000_000
"""Of a form with a file: the largest file that is read at once, and a little for the fields beside it."""


class FileParser(MultiPartParser):
    """A form with a file, whose stated length is looked at before anything of it is read or stored."""

    @property
    def most_bytes(self) -> int:
        """How long the form may be."""
        return MOST_BYTES_OF_A_FORM

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        request = (parser_context or {}).get("request")
        stated = request.META.get("CONTENT_LENGTH") if request is not None else None
        # What a body holds beyond its stated length no server hands on.
        if stated and str(stated).isdecimal() and int(stated) > self.most_bytes:
            raise TooLarge(
                f"The form has {stated} bytes; at most {self.most_bytes} are taken at once: send a smaller file."
            )
        return super().parse(stream, media_type, parser_context)


class StrictJSONParser(JSONParser):
    """JSON with finite numbers, distinct keys, whole characters, modest depth and modest length."""

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None) -> Any:
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        content = stream.read() if limit is None else stream.read(limit + 1)
        if limit is not None and len(content) > limit:
            raise TooLarge(f"The body is longer than {limit} bytes: send it in smaller parts.")
        most = _MOST_VALUES
        if sum(content.count(mark if isinstance(content, str) else mark.encode()) for mark in ",[{") > most:
            raise TooLarge(f"The body holds more than {most} values: send it in smaller parts.")
        try:
            text = content.decode("utf-8-sig") if isinstance(content, bytes) else content
        except UnicodeDecodeError as error:
            raise ParseError(f"The body is not UTF-8: byte {error.start} cannot be read.") from None
        try:
            value = json.loads(
                text,
                parse_float=_finite,
                parse_int=_readable,
                parse_constant=_no_constant,
                object_pairs_hook=_distinct_keys,
            )
        except RecursionError:
            raise ParseError(f"The body is nested deeper than {_DEEPEST} levels.") from None
        except ValueError as error:
            raise ParseError(f"The body is not JSON: {error}") from None
        faults = list(_unstorable(value))
        if faults:
            raise InvalidInput("unstorable_text", "Some of what was sent cannot be stored.", faults=faults)
        return value


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"the number {text[:40]} is too large")
    return number


def _readable(text: str) -> int:
    if len(text) > _MOST_DIGITS:
        raise ValueError(f"the number {text[:40]} is too large")
    return int(text)


def _no_constant(text: str) -> Any:
    raise ValueError(f"{text} is not a number in JSON; leave out what was not measured")


def _distinct_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) != len(pairs):
        earlier_keys: set[str] = set()
        twice = next(key for key, _ in pairs if key in earlier_keys or earlier_keys.add(key))  # type: ignore[func-returns-value]
        raise ValueError(f"the key '{twice[:80]}' appears twice in one object")
    return value


def _unstorable(value: Any) -> "list[Fault]":
    """Find text no database can hold, and nesting no reader should follow; without recursion."""
    faults: list[Fault] = []
    waiting: list[tuple[str, int, Any]] = [("", 0, value)]
    while waiting and len(faults) < 20:
        pointer, depth, item = waiting.pop()
        if depth > _DEEPEST:
            faults.append(Fault(pointer, f"This is nested deeper than {_DEEPEST} levels."))
        elif isinstance(item, str):
            sentence = _text_fault(item)
            if sentence:
                faults.append(Fault(pointer, sentence))
        elif isinstance(item, dict):
            for key, part in item.items():
                if _text_fault(key):
                    faults.append(Fault(pointer, "A key here holds a character that cannot be stored."))
                else:
                    waiting.append((f"{pointer}/{escape_pointer(key)}", depth + 1, part))
        elif isinstance(item, list):
            waiting.extend((f"{pointer}/{index}", depth + 1, part) for index, part in enumerate(item))
    return faults


def _text_fault(text: str) -> str:
    if "\x00" in text:
        return "This holds a null character; leave it out."
    if not text.isascii() and any("\ud800" <= character <= "\udfff" for character in text):
        return "This holds half of a surrogate pair; send whole Unicode characters."
    return ""
