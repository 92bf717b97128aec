"""The sheets of an invented company with twelve clients, as one person keeps them: gaps, habits and slips left in.

They lie in `fixtures/bare`, with days as numbers of days before today in braces. Two sites have no coordinates and one
a comma in the wrong place; one day is no day of the calendar; labels of the membranes are gone. The places lie in the
open sea.
"""

import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Final

from django.conf import settings

OWNER: Final = "owner@bare.example"
INSTALLER: Final = "fitter@bare.example"
NAME: Final = "Small Water"

_DAYS_AGO: Final = re.compile(r"\{(\d+)\}")


def bare_sheets(today: date) -> Iterator[tuple[str, str]]:
    """File name and text of each sheet, with days counted back from a day."""

    def written(match: re.Match[str]) -> str:
        day = today - timedelta(days=int(match[1]))
        return f"{day.day}.{day.month}.{day.year}"

    for path in sorted(Path(settings.BASE_DIR, "fixtures", "bare").glob("*.csv")):
        text = path.read_text(encoding="utf-8").replace("{year}", str(today.year))
        yield path.name, _DAYS_AGO.sub(written, text)
