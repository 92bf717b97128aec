"""The words of the messages: plain sentences, times as rounded windows on the clock of the site."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fleet.models import Position, Stage
from scheduling.models import Need, Visit

Kind = Need.Kind

# A promise that roads can keep: common practice, no source.
_ARRIVAL = timedelta(minutes=30), timedelta(hours=1)
_ON_THE_WAY = timedelta(minutes=15), timedelta(minutes=30)

_TO_DO = {
    Kind.REPLACE: "change the {what}",
    Kind.ROTATE: "change the first {stage} cartridge and move the second one forward",
    Kind.SANITISE: "sanitise the unit",
    Kind.INSPECT: "look over the unit and take readings",
    Kind.REPAIR: "repair the unit",
    Kind.FIT_BOOSTER_PUMP: "fit a booster pump",
    Kind.REPLACE_RESTRICTOR: "change the flow restrictor",
    Kind.TAKE_READING: "take readings",
    Kind.VERIFY_INSTRUMENTS: "check the meters",
    Kind.COMMISSION: "put the unit into service",
}
_DONE = {
    Kind.REPLACE: "the {what} was changed",
    Kind.ROTATE: "the first {stage} cartridge was discarded, the second moved forward and a fresh one fitted behind it",
    Kind.SANITISE: "the unit was sanitised",
    Kind.INSPECT: "the unit was looked over",
    Kind.REPAIR: "the unit was repaired",
    Kind.FIT_BOOSTER_PUMP: "a booster pump was fitted",
    Kind.REPLACE_RESTRICTOR: "the flow restrictor was changed",
    Kind.TAKE_READING: "readings were taken",
    Kind.VERIFY_INSTRUMENTS: "the meters were checked",
    Kind.COMMISSION: "the unit was put into service",
}
_OBSTACLES = {
    Visit.Obstacle.NOBODY_IN: (
        "nobody was in to let us in",
        "Please tell us when somebody can be there; we will offer you new times.",
    ),
    Visit.Obstacle.NO_ACCESS: (
        "we could not get to the unit",
        "Please see that it can be reached; we will offer you new times.",
    ),
    Visit.Obstacle.PART_MISSING: (
        "a part was missing",
        "We will come again once the part is here, and offer you new times.",
    ),
    Visit.Obstacle.NOT_SAFE: (
        "it was not safe to work there",
        "We will call you about what must be made safe first.",
    ),
    Visit.Obstacle.NO_TIME: (
        "we ran out of time that day",
        "We are sorry. We will offer you new times.",
    ),
    Visit.Obstacle.OTHER: (
        "something unexpected prevented it",
        "We will call you to explain and to agree a new time.",
    ),
}


@dataclass(frozen=True, slots=True)
class Text:
    """Subject and body of a message."""

    subject: str
    body: str


def arrival_window(at: datetime, zone: str) -> str:
    """When to expect somebody who is to start at a moment: a day and an hour's window on the clock of a zone.

    >>> from datetime import UTC
    >>> arrival_window(datetime(2026, 3, 3, 8, 37, tzinfo=UTC), "Europe/Berlin")
    'Tuesday 3 March, between 09:30 and 10:30'
    """
    opens, closes = _rounded(at, zone, *_ARRIVAL)
    return span_text(opens, closes, zone)


def span_text(opens: datetime, closes: datetime, zone: str) -> str:
    """A window in words, on the clock of a zone."""
    first, last = opens.astimezone(ZoneInfo(zone)), closes.astimezone(ZoneInfo(zone))
    return f"{day_text(first.date())}, between {first:%H:%M} and {last:%H:%M}"


def day_text(day: date) -> str:
    """A day as it is spoken of."""
    return f"{day:%A} {day.day} {day:%B}"


def _rounded(at: datetime, zone: str, step: timedelta, width: timedelta) -> tuple[datetime, datetime]:
    local = at.astimezone(ZoneInfo(zone))
    past = timedelta(minutes=local.minute, seconds=local.second, microseconds=local.microsecond)
    opens = local - past % step
    return opens, opens + width


def work_text(needs: Iterable[Need]) -> str:
    """What is to be done, as a client would say it: 'change the carbon and take readings'."""
    parts = dict.fromkeys(_work_line(_TO_DO[Kind(need.kind)], need.label, need.position) for need in needs)
    return _listed(list(parts)) or "look after your unit"


def done_lines(rows: Sequence[tuple[str, str, Position | None]]) -> list[str]:
    """What was done, one line each: unit code, kind of work, position."""
    lines = [f"{unit}: {_work_line(_DONE[Kind(action)], '', place)}" for unit, action, place in rows]
    return list(dict.fromkeys(lines))


def _work_line(words: str, label: str, position: Position | None) -> str:
    stage = Stage(position.stage).label if position is not None else ""
    cartridge = label[:1].lower() + label[1:] or stage or "cartridge"
    return " ".join(words.format(what=cartridge, stage=stage).split())


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1] if parts else ""


def offered(visit: Visit, needs: Iterable[Need]) -> Text:
    """Two or three windows to choose from."""
    site = visit.site
    windows = [
        span_text(datetime.fromisoformat(o["opens_at"]), datetime.fromisoformat(o["closes_at"]), site.time_zone)
        for o in visit.offers
    ]
    return _letter(
        visit,
        f"Choose a time for our visit to {site.name}",
        f"we would like to come to {_place(visit)} to {work_text(needs)}. Please choose when we may start:",
        "\n".join(f"  - {window}" for window in windows),
        "If none of these suits you, tell us and we will offer you others.",
    )


def offer_lapsed(visit: Visit) -> Text:
    """Nobody chose a window in time."""
    return _letter(
        visit,
        f"The times offered for {visit.site.name} have expired",
        f"you did not choose any of the times we offered for a visit to {_place(visit)}, and they have now expired.",
        "We will offer you new times. There is nothing you need to do.",
    )


def confirmed(visit: Visit, needs: Iterable[Need]) -> Text:
    """The time is agreed."""
    sender = f"{visit.installer.name} comes" if visit.installer is not None else "We come"
    return _letter(
        visit,
        f"Our visit to {visit.site.name} is confirmed",
        f"thank you. {sender} to {_place(visit)} on {_appointment(visit)}.",
        f"We will {work_text(needs)}. The work takes about {_duration(visit.minutes)}.",
        "If this time no longer suits you, please tell us as early as you can.",
    )


def moved(visit: Visit, earlier_at: datetime | None) -> Text:
    """An agreed time has changed."""
    old = f" It was to be on {arrival_window(earlier_at, visit.site.time_zone)}." if earlier_at is not None else ""
    sender = f"{visit.installer.name} now comes" if visit.installer is not None else "We now come"
    return _letter(
        visit,
        f"New time for our visit to {visit.site.name}",
        f"the time of our visit has changed. {sender} to {_place(visit)} on {_appointment(visit)}.{old}",
        "If the new time does not suit you, please tell us and we will find another.",
    )


def withdrawn(visit: Visit, earlier_at: datetime | None) -> Text:
    """An agreed time, or an offer, is taken back."""
    when = (
        f"on {arrival_window(earlier_at, visit.site.time_zone)}"
        if earlier_at is not None
        else "at the times we offered you"
    )
    return _letter(
        visit,
        f"We need to rearrange our visit to {visit.site.name}",
        f"we will not be coming to {_place(visit)} {when}.",
        "We will offer you new times. There is nothing you need to do.",
    )


def on_the_way(visit: Visit, driver_name: str, expected_at: datetime | None) -> Text:
    """Somebody has departed."""
    when = ""
    if expected_at is not None:
        opens, closes = _rounded(expected_at, visit.site.time_zone, *_ON_THE_WAY)
        when = f" and should be there between {opens:%H:%M} and {closes:%H:%M}"
    return _letter(
        visit,
        f"{driver_name} is on the way to {visit.site.name}",
        f"{driver_name} is on the way to {_place(visit)}{when}.",
        "Please see that the unit can be reached.",
    )


def done(visit: Visit, lines: Sequence[str], open_needs: Sequence[Need], at: datetime) -> Text:
    """What was done, and what comes next."""
    day = day_text(at.astimezone(ZoneInfo(visit.site.time_zone)).date())
    work_lines = "\n".join(f"  - {line}" for line in lines)
    return _letter(
        visit,
        f"The work at {visit.site.name} is done",
        f"we were at {_place(visit)} on {day}." + (f" What was done:\n\n{work_lines}" if work_lines else ""),
        _next(open_needs),
    )


def _next(open_needs: Sequence[Need]) -> str:
    if not open_needs:
        return "Nothing else is due now. We keep an eye on the readings and write to you when something is."
    need = min(open_needs, key=lambda n: (n.best_day is None, n.best_day or date.max, n.pk))
    when = f", around {day_text(need.best_day)}" if need.best_day is not None else ""
    return f"What comes next: {work_text([need])}{when}. We will offer you times for it."


def not_done(visit: Visit) -> Text:
    """The work could not be done: why, and the next step."""
    why, step = _OBSTACLES[Visit.Obstacle(visit.obstacle)]
    return _letter(
        visit,
        f"The work at {visit.site.name} could not be done",
        f"we could not do the work at {_place(visit)}: {why}.",
        step,
    )


def cancelled(visit: Visit) -> Text:
    """A visit is cancelled."""
    when = f" on {_appointment(visit)}" if visit.appointment_at is not None else ""
    return _letter(
        visit,
        f"Our visit to {visit.site.name} is cancelled",
        f"our visit to {_place(visit)}{when} is cancelled.",
        "If work is still due there, we will offer you new times.",
    )


def for_office(visit: Visit, happened: str, note: str = "") -> Text:
    """One sentence about a visit, for those who plan."""
    more = f"\n\nNote: {note}" if note.strip() else ""
    return Text(f"{visit.site.name}: {happened}"[:200], f"{visit.site.name} (visit {visit.pk}): {happened}.{more}")


def cancelled_for_installer(visit: Visit, at: datetime | None) -> Text:
    """A stop falls out of a round."""
    when = f" on {arrival_window(at, visit.site.time_zone)}" if at is not None else ""
    return Text(f"Cancelled: {visit.site.name}"[:200], f"The visit to {_place(visit)}{when} is cancelled.")


def rounds_changed(name: str, sentences: Sequence[str]) -> Text:
    """What changes in an installer's rounds."""
    listed = "\n".join(f"  - {sentence}" for sentence in sentences)
    return Text("Your rounds have changed", f"Hello {name},\n\nyour rounds have changed:\n\n{listed}\n")


def changes_for(differences: Iterable[Mapping[str, Any]], installer: int) -> list[str]:
    """The sentences of a plan's differences that concern an installer."""
    return [row["sentence"] for row in differences if installer in row["tell_installers"]]


def _letter(visit: Visit, subject: str, *paragraphs: str) -> Text:
    site = visit.site
    body = "\n\n".join([f"Hello {site.client.name},", *paragraphs, site.company.name])
    return Text(subject[:200], body + "\n")


def _place(visit: Visit) -> str:
    return f"{visit.site.name}, {visit.site.address}" if visit.site.address else str(visit.site.name)


def _appointment(visit: Visit) -> str:
    assert visit.appointment_at is not None
    return arrival_window(visit.appointment_at, visit.site.time_zone)


def _duration(minutes: int) -> str:
    """Minutes as people say them, to the next quarter of an hour.

    >>> _duration(40), _duration(60), _duration(95)
    ('45 minutes', '1 hour', '1 hour 45 minutes')
    """
    hours, minutes_left = divmod(15 * max(1, -(-minutes // 15)), 60)
    parts = [f"{hours} hour{'s' if hours > 1 else ''}"] if hours else []
    return " ".join([*parts, *([f"{minutes_left} minutes"] if minutes_left else [])])
