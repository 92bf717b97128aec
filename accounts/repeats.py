"""What a sender named once must not come back as something else: the same reference with other content is refused.

Compared is what was sent, as it was understood: 60 psi is 60.0 psi, and a moment is the same moment in any offset. What
the sender left to the server (the moment of arrival, the item that a need asks for) agrees with whatever was filled in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from accounts.day_alone import known_day, moment_in_words
from accounts.errors import Conflict, Fault

CONFLICT: Final = "reference_conflict"
"""Code of the refusal of other content under a known reference."""
_MOST_SHOWN: Final = 80


@dataclass(frozen=True, slots=True)
class Difference:
    """One field that comes back with something else under the same reference.

    Attributes
    ----------
    field
        As the sender calls it; for nested ones a path such as 'work/0/item'.
    stored, sent
        Both values in words; empty where there is none.
    """

    field: str
    stored: str
    sent: str

    def sentence(self, reference: str, owner_words: str) -> str:
        """Both values, side by side; `owner_words` is what the reference stands for, such as 'a reading'."""
        return self.sentence_of(f"The reference '{reference}' is already used by {owner_words}")

    def sentence_of(self, start: str) -> str:
        """Both values behind the start of a sentence, such as 'This picture is stored'."""
        if not self.stored:
            return f"{start} without {self.field}, and {self.sent} was sent"
        return f"{start} with {self.field} {self.stored}, {f'not {self.sent}' if self.sent else 'and none was sent'}"


def in_words(value: Any) -> str:
    """A stored or sent value as it is shown: text in quotation marks, moments in UTC, nothing as ''.

    >>> in_words({"water_on_floor": True, "unusual_noise": False})
    'water_on_floor yes, unusual_noise no'
    """
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if known_day(value) is not None:
        return moment_in_words(value)
    if isinstance(value, datetime):
        return f"{value.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {in_words(each)}" for name, each in value.items())
    if isinstance(value, str):
        return f"'{value if len(value) <= _MOST_SHOWN else value[:_MOST_SHOWN] + '...'}'"
    return str(value)


def worded(field: str, stored: str, sent: str) -> list[Difference]:
    """The difference of one field whose values are in words already."""
    return [] if stored == sent else [Difference(field, stored, sent)]


def difference(field: str, stored: Any, sent: Any) -> list[Difference]:
    """The difference of one field, if there is any."""
    sent_words, stored_words = in_words(sent), in_words(stored)
    is_one_day = known_day(sent) is not None and known_day(sent) == known_day(stored)
    same = sent == stored or is_one_day or (not sent_words and not stored_words)
    return [] if same else [Difference(field, stored_words, sent_words)]


def conflict(
    reference: str, other: str, owner_words: str, differences: Sequence[Difference], *, more: Sequence[Fault] = ()
) -> Conflict:
    """The refusal of a report that came before under its reference as something else.

    `other` and `owner_words` are what the reference stands for, such as 'other work' and 'a report of work';
    `more` are faults that were found beside the differences.
    """
    faults = [Fault(f"/{one.field}", f"{one.sentence(reference, owner_words)}.") for one in differences]
    sentence = f"The reference '{reference}' is already used for {other}; give each report its own."
    return Conflict(CONFLICT, sentence, faults=[*faults, *more])
