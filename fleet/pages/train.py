"""The train of a unit as a picture: what the water passes, in its order, and how much of each cartridge is left."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from accounts.language import gettext
from fleet.engineering.positions import position_name, position_name_for_client
from fleet.pages.days import day_of

# Sizes of the drawing, in its own units; a vessel is drawn as a column that is filled from below.
_STEP: Final = 96
_WIDTH: Final = 56
_TOP: Final = 24
_HEIGHT: Final = 120


@dataclass(frozen=True, slots=True)
class Vessel:
    """One position as it is drawn and as it is said.

    Attributes
    ----------
    name
        What whoever looks at it calls the position.
    x, fill_y, fill_height
        Where it stands, and where its filling begins and how high it is.
    share
        What is left, 0 to 1; None where nobody knows.
    is_exhausted
        Whether it counts as exhausted now; drawn with a cross, not by colour alone.
    """

    position: int
    stage: str
    name: str
    x: int
    fill_y: float
    fill_height: float
    share: float | None
    is_exhausted: bool
    is_empty: bool
    item: str
    since: date | None
    words: str

    @property
    def middle(self) -> float:
        """Where its middle is, from the left."""
        return self.x + _WIDTH / 2


@dataclass(frozen=True, slots=True)
class Train:
    """The whole picture."""

    vessels: Sequence[Vessel]
    width: int
    height: int = _TOP + _HEIGHT + 40
    top: int = _TOP
    vessel_width: int = _WIDTH
    vessel_height: int = _HEIGHT


def train_of(positions: Sequence[Mapping[str, Any]], *, time_zone: str, for_client: bool) -> Train:
    """The picture of the positions of a unit, as the API answers them, with days on the clock of its site."""
    vessels = [_vessel(number, row, time_zone, for_client) for number, row in enumerate(positions)]
    return Train(vessels=vessels, width=max(1, len(vessels)) * _STEP + 24)


def name_of(stage: str, role: str, *, for_client: bool) -> str:
    """What a position is called, in the language spoken now."""
    return gettext((position_name_for_client if for_client else position_name)(stage, role))


def _vessel(number: int, row: Mapping[str, Any], zone: str, for_client: bool) -> Vessel:
    installed, forecast = row["installed"], row["forecast"]
    share = forecast["remaining_share"] if forecast is not None and installed is not None else None
    is_exhausted = forecast is not None and forecast["state"] == "exhausted"
    height = _HEIGHT * min(1.0, max(0.0, share or 0.0))
    return Vessel(
        position=row["id"],
        stage=row["stage"],
        name=name_of(row["stage"], row["role"], for_client=for_client),
        x=12 + number * _STEP + (_STEP - _WIDTH) // 2,
        fill_y=round(_TOP + _HEIGHT - height, 1),
        fill_height=round(height, 1),
        share=share,
        is_exhausted=is_exhausted,
        is_empty=installed is None,
        item=installed["item_name"] if installed is not None else "",
        since=day_of(installed["placed_at"], zone) if installed is not None else None,
        words=_words(share, is_exhausted, installed is None, step=5 if for_client else 1),
    )


def _words(share: float | None, is_exhausted: bool, is_empty: bool, *, step: int) -> str:
    # A client reads steps of 5 %, as such an estimate can bear; the office has the figure of the table beside it.
    if is_empty:
        return gettext("nothing stands here")
    if is_exhausted:
        return gettext("exhausted")
    if share is None:
        return gettext("not known yet")
    if share < 0.05:
        return gettext("nearly nothing left")
    return gettext("about {percent} % left").format(percent=max(5, round(share * 100 / step) * step))
