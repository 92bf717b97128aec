"""Feed, permeate and product over time as a picture (SVG), and the same numbers as rows of a table."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import timedelta
from io import BytesIO
from typing import Any, Final

from django.core.cache import cache

from accounts.dates import calendar_day
from accounts.language import gettext, gettext_noop
from fleet.pages.days import day_of, moment_of

QUANTITIES: Final = (
    ("feed_tds", gettext_noop("Tap water")),
    ("permeate_tds", gettext_noop("Behind the membrane")),
    ("product_tds", gettext_noop("Finished water")),
)
SCHEMES: Final = ("light", "dark")
# As wide as a phone, so that its letters need no glass there.
_WIDTH_INCHES: Final = 3.9
_PANEL_INCHES: Final = 1.45
_AXIS_INCHES: Final = 0.4
_KEPT_SECONDS: Final = 24 * 3600
_COLOURS: Final[Mapping[str, Mapping[str, str]]] = {
    "light": {"ink": "#16212b", "soft": "#4a5763", "hair": "#d4d2ca", "line": "#1f6f8b", "limit": "#9c2f1c"},
    "dark": {"ink": "#eef1f3", "soft": "#b6c0c8", "hair": "#3a444d", "line": "#86c9df", "limit": "#f2a594"},
}
# One more way than colour to tell what is what.
_MARKS: Final = {"feed_tds": "o", "permeate_tds": "s", "product_tds": "D"}


@dataclass(frozen=True, slots=True)
class Curve:
    """One quantity over time: ISO moments and values."""

    name: str
    title: str
    points: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Plot:
    """What is drawn.

    Attributes
    ----------
    unit
        Unit of all values.
    limit
        Of the finished water; None where there is none.
    limit_of
        Name of the curve in which it is drawn.
    changes
        Days on which a cartridge was changed.
    band
        First and last day between which the first cartridge is expected to be exhausted.
    """

    curves: tuple[Curve, ...]
    unit: str
    limit: float | None
    limit_of: str
    changes: tuple[str, ...]
    band: tuple[str, str] | None
    time_zone: str

    @property
    def height(self) -> int:
        """Height of the picture where it is `width` wide."""
        return round(100 * (_PANEL_INCHES * len(self.curves) + _AXIS_INCHES))

    @property
    def width(self) -> int:
        """Width of the picture."""
        return round(100 * _WIDTH_INCHES)

    @property
    def digest(self) -> str:
        """What the address of the picture is made of: the same picture has the same address."""
        # What words stand in it is a matter of the language, which is part of the picture.
        facts = json.dumps([asdict(self), _titles()], sort_keys=True)
        return hashlib.sha256(facts.encode()).hexdigest()[:20]


def plot_of(
    readings: Sequence[Mapping[str, Any]],
    *,
    placements: Sequence[Mapping[str, Any]],
    status: Mapping[str, Any],
    time_zone: str,
) -> Plot | None:
    """What is drawn of readings, placements and the status of a unit, as the API answers them; None without values."""
    curves, units = [], set()
    for name, title in QUANTITIES:
        values = [(row["taken_at"], row[name]) for row in readings if row.get(name) is not None]
        units |= {value["unit"] for _, value in values}
        if values:
            curves.append(Curve(name, title, tuple(sorted((str(at), value["value"]) for at, value in values))))
    if not curves:
        return None
    change = status["next_change"]
    band = (
        (str(change["from_day"]), str(change["to_day"])) if change and change["from_day"] and change["to_day"] else None
    )
    oldest = min(curve.points[0][0] for curve in curves)[:10]
    changes = {str(day_of(row["placed_at"], time_zone)) for row in placements}
    return Plot(
        curves=tuple(curves),
        unit=next(iter(sorted(units))),
        limit=status["limit"]["value"] if status["limit"] else None,
        limit_of=status["measured"],
        changes=tuple(sorted(day for day in changes if day >= oldest)),
        band=band,
        time_zone=time_zone,
    )


def picture(plot: Plot, unit: int, scheme: str) -> bytes:
    """The picture of a unit as SVG, in light or dark colours; drawn once and kept for a day."""
    drawn = _drawn(plot, _COLOURS[scheme])
    cache.set(_key(unit, plot.digest, scheme), drawn, _KEPT_SECONDS)
    return drawn


def kept_picture(unit: int, digest: str, scheme: str) -> bytes | None:
    """The picture of a unit that was drawn before under a digest; None where it was not. Ask who may see it before."""
    kept: bytes | None = cache.get(_key(unit, digest[:40], scheme))
    return kept


def _key(unit: int, digest: str, scheme: str) -> str:
    named = hashlib.sha256(f"{unit} {digest} {scheme}".encode()).hexdigest()
    return f"plot:{named}"


def _titles() -> list[str]:
    return [gettext(title) for _, title in QUANTITIES]


def _drawn(plot: Plot, colours: Mapping[str, str]) -> bytes:
    # The library takes half a second to load: only whoever draws waits for it.
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    matplotlib.rcParams["svg.fonttype"] = "none"
    matplotlib.rcParams["svg.hashsalt"] = "plot"
    figure = Figure(figsize=(_WIDTH_INCHES, plot.height / 100), layout="constrained")
    FigureCanvasSVG(figure)
    figure.patch.set_alpha(0)
    panels = figure.subplots(len(plot.curves), 1, sharex=True, squeeze=False)[:, 0]
    for panel, curve in zip(panels, plot.curves, strict=True):
        _draw_curve(panel, curve, plot, colours)
    _date_axis(panels[-1], plot)
    written = BytesIO()
    figure.savefig(written, format="svg", metadata={"Date": None, "Creator": None, "Title": gettext("Readings")})
    return written.getvalue()


def _draw_curve(panel: Any, curve: Curve, plot: Plot, colours: Mapping[str, str]) -> None:
    moments = [moment_of(at, plot.time_zone) for at, _ in curve.points]
    values = [value for _, value in curve.points]
    panel.plot(
        moments, values, color=colours["line"], marker=_MARKS[curve.name], markersize=2.5, linewidth=1.2, clip_on=False
    )
    title = gettext("{what}, TDS in {unit}").format(what=gettext(curve.title), unit=plot.unit)
    panel.set_title(title, loc="left", fontsize=10.5, color=colours["ink"])
    panel.set_facecolor("none")
    top = max([*values, plot.limit if plot.limit is not None and curve.name == plot.limit_of else 0.0])
    panel.set_ylim(0, top * 1.15 or 1.0)
    if plot.limit is not None and curve.name == plot.limit_of:
        panel.axhline(plot.limit, color=colours["limit"], linestyle="--", linewidth=1.4)
        words = gettext("limit {value:g}").format(value=plot.limit)
        panel.annotate(
            words, (0.0, plot.limit), xycoords=("axes fraction", "data"), xytext=(4, 3),
            textcoords="offset points", fontsize=10, color=colours["limit"],
        )  # fmt: skip
    for day in plot.changes:
        panel.axvline(moment_of(day, plot.time_zone), color=colours["soft"], linestyle=":", linewidth=1)
    if plot.band is not None:
        first, last = (moment_of(day, plot.time_zone) for day in plot.band)
        panel.axvspan(first, max(last, first + timedelta(days=2)), color=colours["soft"], alpha=0.25, linewidth=0)
    panel.tick_params(colors=colours["soft"], labelsize=9.5, length=3)
    panel.grid(axis="y", color=colours["hair"], linewidth=0.7)
    for side, spine in panel.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(colours["soft"])


def _date_axis(panel: Any, plot: Plot) -> None:
    """Three days along the axis, written as the pages write days."""
    moments = [moment_of(at, plot.time_zone) for curve in plot.curves for at, _ in curve.points]
    first, last = min(moments), max(moments)
    if plot.band is not None:
        # A band years ahead would press the readings into a corner: it is drawn as far as the readings reach back.
        reach = last + max(last - first, timedelta(days=60)) * 0.5
        last = max(last, min(moment_of(plot.band[1], plot.time_zone), reach))
    last = max(last, first + timedelta(days=1)) + (last - first) * 0.02
    panel.set_xlim(first, last)
    ticks = [first + (last - first) * part / 2 for part in range(3)]
    panel.set_xticks(ticks, [calendar_day(tick.date()) for tick in ticks])
    labels = panel.get_xticklabels()
    labels[0].set_ha("left")
    labels[-1].set_ha("right")
