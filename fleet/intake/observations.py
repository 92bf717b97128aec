"""What people saw, on its way in: words of a log or of a payload become yes or no for each observation."""

import difflib
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from fleet.engineering.observations import OBSERVATIONS, codes_by_word
from fleet.intake import cells
from fleet.intake.cells import CellError
from fleet.intake.rows import Row

FIELD: Final = "observations"
"""The field of a payload, and of what is stored: code -> whether it was there."""

SEEN: Final = "seen"
"""The column of a log that names what was there, separated by commas or semicolons."""

CODES: Final = tuple(each.name for each in OBSERVATIONS)
COLUMNS: Final[Mapping[str, str]] = MappingProxyType(codes_by_word())
"""Header of a log in lower case with underscores -> code."""

_CHOICES: Final = ", ".join(f"'{code}'" for code in CODES)


def read_observations_sent(row: Row, value: Any) -> None:
    """Take over the observations of a payload, refusing what is no code with yes or no."""
    if not isinstance(value, Mapping) or not value:
        row.refuse(
            FIELD, "not_observations", f'Give what was looked for, as {{"{CODES[0]}": true}}; the codes are {_CHOICES}.'
        )
        return
    for code, is_there in value.items():
        if code not in CODES:
            row.refuse(FIELD, "unknown_observation", _unknown(str(code), CODES))
        elif not isinstance(is_there, bool):
            row.refuse(
                FIELD,
                "neither_yes_nor_no",
                f"'{code}' must be true where it is so or false where it is not; leave it out where nobody looked.",
            )
        else:
            row.words[code] = "yes" if is_there else "no"


def settle_observations(row: Row) -> None:
    """Make one field of a row's observations, in the order of their records; what cannot be read becomes a fault."""
    there: dict[str, bool] = {}
    for text in re.split(r"[,;]", row.words.get(SEEN, "")):
        word = re.sub(r"[\s\-]+", "_", text.strip().lower())
        if word in COLUMNS:
            there[COLUMNS[word]] = True
        elif word:
            row.refuse(SEEN, "unknown_observation", _unknown(text.strip(), COLUMNS))
    for code in CODES:
        if not row.words.get(code):
            continue
        try:
            is_there = cells.yes_or_no(row.words[code])
        except CellError as error:
            row.refuse(code, "neither_yes_nor_no", str(error))
            continue
        if there.get(code, is_there) != is_there:
            row.refuse(code, "seen_and_not_seen", f"'{SEEN}' names '{code}', and its own column says no; keep one.")
        there[code] = is_there
    if there:
        row.fields[FIELD] = {code: there[code] for code in CODES if code in there}


def _unknown(text: str, accepted: Mapping[str, str] | tuple[str, ...]) -> str:
    shown = text if len(text) <= 60 else f"{text[:57]}..."
    close = difflib.get_close_matches(text.lower().replace(" ", "_"), list(accepted), n=1, cutoff=0.6)
    advice = f"; did you mean '{close[0]}'?" if close else "."
    return f"'{shown}' is not an observation{advice} The codes are {_CHOICES}."
