"""What messages say: plain sentences, times as rounded windows on the clock of the site.

Every text passes through `accounts.language` when a message is written. Tables hold the English texts; what is taken
from them is translated where it is used.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from textwrap import shorten
from typing import Any
from zoneinfo import ZoneInfo

from accounts.dates import long_day
from accounts.day_alone import known_day, local_day
from accounts.language import gettext, gettext_noop, listed, ngettext
from accounts.models import Company, Membership
from fleet.engineering.cautions import NO_CERTIFICATE
from fleet.engineering.diagnosis import TITLES
from fleet.engineering.positions import position_name, position_name_for_client
from fleet.models import Finding, Position, Reading, Unit
from scheduling.models import Message, Need, PurchaseOrder, Visit

Kind = Need.Kind

# A promise that roads can keep: common practice, no source.
_LONGEST_TEXT, _LEAST_TEXT = 480, 160  # characters of a text message, and of them before links
_ARRIVAL = timedelta(minutes=30), timedelta(hours=1)
_ON_THE_WAY = timedelta(minutes=15), timedelta(minutes=30)

_DRUNK = frozenset({Unit.Use.DRINKING, Unit.Use.COFFEE})

_TO_DO = {
    Kind.REPLACE: gettext_noop("replace the {what}"),
    Kind.ROTATE: gettext_noop("replace the {what} and move the second one forward"),
    Kind.SANITISE: gettext_noop("sanitise the unit"),
    Kind.INSPECT: gettext_noop("look over the unit and take readings"),
    Kind.REPAIR: gettext_noop("repair the unit"),
    Kind.FIT_BOOSTER_PUMP: gettext_noop("fit a booster pump"),
    Kind.REPLACE_RESTRICTOR: gettext_noop("replace the flow restrictor"),
    Kind.TAKE_READING: gettext_noop("take readings"),
    Kind.VERIFY_INSTRUMENTS: gettext_noop("check the meters"),
    Kind.COMMISSION: gettext_noop("put the unit into service"),
}
_DONE = {
    Kind.REPLACE: gettext_noop("the {what} was replaced"),
    Kind.ROTATE: gettext_noop(
        "the {what} was discarded, the second one moved forward and a fresh one fitted behind it"
    ),
    Kind.SANITISE: gettext_noop("the unit was sanitised"),
    Kind.INSPECT: gettext_noop("the unit was looked over"),
    Kind.REPAIR: gettext_noop("the unit was repaired"),
    Kind.FIT_BOOSTER_PUMP: gettext_noop("a booster pump was fitted"),
    Kind.REPLACE_RESTRICTOR: gettext_noop("the flow restrictor was replaced"),
    Kind.TAKE_READING: gettext_noop("readings were taken"),
    Kind.VERIFY_INSTRUMENTS: gettext_noop("the meters were checked"),
    Kind.COMMISSION: gettext_noop("the unit was put into service"),
}
_OBSTACLES = {
    Visit.Obstacle.NOBODY_IN: (
        gettext_noop("nobody was in to let us in"),
        gettext_noop("Please tell us when somebody can be there; we will offer you new times."),
    ),
    Visit.Obstacle.NO_ACCESS: (
        gettext_noop("we could not get to the unit"),
        gettext_noop("Please see that it can be reached; we will offer you new times."),
    ),
    Visit.Obstacle.PART_MISSING: (
        gettext_noop("a part was missing"),
        gettext_noop("We will come again once the part is here, and offer you new times."),
    ),
    Visit.Obstacle.NOT_SAFE: (
        gettext_noop("it was not safe to work there"),
        gettext_noop("We will call you about what must be made safe first."),
    ),
    Visit.Obstacle.NO_TIME: (
        gettext_noop("we ran out of time that day"),
        gettext_noop("We are sorry. We will offer you new times."),
    ),
    Visit.Obstacle.OTHER: (
        gettext_noop("something unexpected prevented it"),
        gettext_noop("We will call you to explain and to find a new time."),
    ),
}


_STATE_SENTENCES = {
    Visit.State.PROPOSED: gettext_noop("No time is offered at present. We will write to you when there is one."),
    Visit.State.ON_THE_WAY: gettext_noop("We are on the way to you."),
    Visit.State.IN_PROGRESS: gettext_noop("We are at work there now."),
    Visit.State.DONE: gettext_noop("The work is done."),
    Visit.State.NOT_DONE: gettext_noop("The work could not be done. We will offer you new times."),
    Visit.State.CANCELLED: gettext_noop("This visit is cancelled. If work is still due, we will offer you new times."),
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
    return span_text(*arrival_span(at, zone), zone)


def span_text(opens: datetime, closes: datetime, zone: str) -> str:
    """A window in words, on the clock of a zone."""
    first, last = opens.astimezone(ZoneInfo(zone)), closes.astimezone(ZoneInfo(zone))
    words = gettext("{day}, between {opens:%H:%M} and {closes:%H:%M}")
    return words.format(day=day_text(first.date()), opens=first, closes=last)


def day_text(day: date) -> str:
    """A day as it is spoken of."""
    return long_day(day)


def arrival_span(at: datetime, zone: str) -> tuple[datetime, datetime]:
    """The window in which somebody who is to start at a moment is announced."""
    return _rounded(at, zone, *_ARRIVAL)


def _rounded(at: datetime, zone: str, step: timedelta, width: timedelta) -> tuple[datetime, datetime]:
    local = at.astimezone(ZoneInfo(zone))
    past = timedelta(minutes=local.minute, seconds=local.second, microseconds=local.microsecond)
    opens = local - past % step
    return opens, opens + width


def work_text(needs: Iterable[Need]) -> str:
    """What is to be done, as a client would say it: 'replace the carbon filter and take readings'."""
    parts = dict.fromkeys(_work_line(_TO_DO, need.kind, need.label, need.position) for need in needs)
    return listed(list(parts)) or gettext("look after your unit")


def done_lines(rows: Sequence[tuple[str, str, Position | None]]) -> list[str]:
    """What was done, one line each: unit code, kind of work, position."""
    line = gettext("{unit}: {work}")
    lines = [line.format(unit=unit, work=_work_line(_DONE, action, "", place)) for unit, action, place in rows]
    return list(dict.fromkeys(lines))


def _work_line(words: Mapping[Kind, str], kind: str, label: str, position: Position | None) -> str:
    cartridge = gettext(label[:1].lower() + label[1:]) if label else gettext("cartridge")
    # clients read of the first and the second filter everywhere, and of no lead and lag
    if position is not None and (not label or label.lower() == _trade_name(position)):
        cartridge = gettext(position_name_for_client(position.stage, position.role))
    elif kind == Kind.ROTATE:
        cartridge = gettext("first cartridge")
    return gettext(words[Kind(kind)]).format(what=cartridge)


def _trade_name(position: Position) -> str:
    return position_name(position.stage, position.role).lower()


@dataclass(frozen=True, slots=True)
class OfferedVisit:
    """A visit to offer times for: what is to be done, and the address at which the client answers, empty for none.

    `again`: the client has read of other times, which do not stand any more.
    """

    visit: Visit
    needs: Sequence[Need]
    address: str
    again: bool = False


def offers(rows: Sequence[OfferedVisit]) -> Text:
    """Times to choose from for one or several visits of a client, and how to answer."""
    first = rows[0].visit
    if len(rows) == 1:
        subject = gettext("Choose a time for our visit to {site}").format(site=first.site.name)
    else:
        subject = gettext("Choose times for our {count} visits").format(count=len(rows))
    paragraphs = [paragraph for row in rows for paragraph in _offer(row)]
    company = first.site.company
    if company.phone:
        otherwise = gettext("If none of these suits you, or you would rather talk to us, call us: {phone}.")
        paragraphs.append(otherwise.format(phone=company.phone))
    else:
        paragraphs.append(gettext("If none of these suits you, tell us and we will offer you others."))
    return _letter(first, subject, *paragraphs)


def _offer(row: OfferedVisit) -> list[str]:
    if row.again:
        asked = gettext(
            "our rounds have changed: the times that we offered you before do not stand any more. We would like to "
            "come to {place} to {work}. The work takes about {duration}. When may we start?"
        )
    else:
        asked = gettext(
            "we would like to come to {place} to {work}. The work takes about {duration}. When may we start?"
        )
    paragraphs = [
        asked.format(place=_place(row.visit), work=work_text(row.needs), duration=_duration(row.visit.minutes)),
        "\n".join(f"  - {window}" for window in windows_text(row.visit.offers, row.visit.site.time_zone)),
    ]
    if row.address:
        paragraphs.append(gettext("Choose a time, or decline, here: {address}").format(address=row.address))
    return paragraphs


def windows_text(windows: Iterable[Mapping[str, Any]], zone: str) -> list[str]:
    """Windows in words, on the clock of a zone."""
    spans = [(datetime.fromisoformat(w["opens_at"]), datetime.fromisoformat(w["closes_at"])) for w in windows]
    return [span_text(opens, closes, zone) for opens, closes in spans]


def offered_anew() -> str:
    """What the link of an older offer says."""
    return gettext("These times do not stand any more; our newest letter has others.")


def state_sentence(visit: Visit) -> str:
    """How a visit stands, to whoever asks by the link of a letter."""
    state = Visit.State(visit.state)
    if state == Visit.State.OFFERED:
        return gettext("Please choose when we may start.")
    if state == Visit.State.CONFIRMED:
        if visit.installer is not None:
            coming = gettext("{installer} will come on {when}.")
            return coming.format(installer=_installer_name(visit), when=_appointment(visit))
        return gettext("We will come on {when}.").format(when=_appointment(visit))
    return gettext(_STATE_SENTENCES[state])


def reminder(visit: Visit, needs: Iterable[Need], address: str) -> Text:
    """The visit is tomorrow."""
    if visit.installer is not None:
        coming = gettext("a reminder: {installer} will come to {place} tomorrow, {when}.")
    else:
        coming = gettext("a reminder: we will come to {place} tomorrow, {when}.")
    return _letter(
        visit,
        gettext("Tomorrow: our visit to {site}").format(site=visit.site.name),
        coming.format(installer=_installer_name(visit), place=_place(visit), when=_appointment(visit)),
        gettext("We will {work}. The work takes about {duration}.").format(
            work=work_text(needs), duration=_duration(visit.minutes)
        ),
        gettext("Please make sure that the unit can be reached, and tell us at once if the time does not suit you."),
        *_cancel_here(address),
    )


def offer_lapsed(visit: Visit) -> Text:
    """Nobody chose a window in time."""
    return _letter(
        visit,
        gettext("The times offered for {site} have expired").format(site=visit.site.name),
        gettext(
            "you did not choose any of the times we offered for a visit to {place}, and they have now expired."
        ).format(place=_place(visit)),
        gettext("We will offer you new times. There is nothing you need to do."),
    )


def confirmed(visit: Visit, needs: Iterable[Need], address: str) -> Text:
    """The time is confirmed; at the address, empty for none, its client may cancel it."""
    if visit.installer is not None:
        coming = gettext("thank you. {installer} will come to {place} on {when}.")
    else:
        coming = gettext("thank you. We will come to {place} on {when}.")
    return _letter(
        visit,
        gettext("Our visit to {site} is confirmed").format(site=visit.site.name),
        coming.format(installer=_installer_name(visit), place=_place(visit), when=_appointment(visit)),
        gettext("We will {work}. The work takes about {duration}.").format(
            work=work_text(needs), duration=_duration(visit.minutes)
        ),
        gettext("If this time no longer suits you, please tell us as early as you can."),
        *_cancel_here(address),
    )


def moved(visit: Visit, earlier_at: datetime | None, address: str) -> Text:
    """A confirmed time has changed."""
    if visit.installer is not None:
        coming = gettext("the time of our visit has changed. {installer} will now come to {place} on {when}.")
    else:
        coming = gettext("the time of our visit has changed. We will now come to {place} on {when}.")
    coming = coming.format(installer=_installer_name(visit), place=_place(visit), when=_appointment(visit))
    if earlier_at is not None:
        before = gettext("It was planned for {when}.").format(when=arrival_window(earlier_at, visit.site.time_zone))
        coming = f"{coming} {before}"
    return _letter(
        visit,
        gettext("New time for our visit to {site}").format(site=visit.site.name),
        coming,
        gettext("If the new time does not suit you, please tell us and we will find another."),
        *_cancel_here(address),
    )


def other_installer(visit: Visit, earlier: str, address: str) -> Text:
    """At the time confirmed somebody else comes than the client was told."""
    coming = gettext("{installer} will come to {place} on {when}, and not {earlier}. The time stays as it was.")
    return _letter(
        visit,
        gettext("Who comes to {site}").format(site=visit.site.name),
        coming.format(installer=_installer_name(visit), place=_place(visit), when=_appointment(visit), earlier=earlier),
        gettext("If that does not suit you, please tell us."),
        *_cancel_here(address),
    )


def _cancel_here(address: str) -> list[str]:
    if not address:
        return []
    return [gettext("Cancel the visit, or ask us to call you, here: {address}").format(address=address)]


def extended(
    visit: Visit, added_needs: Iterable[Need], earlier_minutes: int | None, other_units: Sequence[str]
) -> Text:
    """More is done at a confirmed visit than the client was told: how long it takes now, and what must be reached.

    Parameters
    ----------
    visit
        Confirmed, with its new minutes.
    added_needs
        What is added.
    earlier_minutes
        What the client was told that it takes; None: it takes no longer than that.
    other_units
        Codes of units that the client did not know of.
    """
    paragraphs = [
        gettext("at our visit to {place} on {when} we will also {work}.").format(
            place=_place(visit), when=_appointment(visit), work=work_text(added_needs)
        )
    ]
    if earlier_minutes is not None:
        longer = gettext("The work will take about {duration} instead of {before}.")
        paragraphs.append(longer.format(duration=_duration(visit.minutes), before=_duration(earlier_minutes)))
    if other_units:
        reach = ngettext(
            "Please make sure that we can reach the unit {units} too.",
            "Please make sure that we can reach the units {units} too.",
            len(other_units),
        )
        paragraphs.append(reach.format(units=listed(other_units)))
    return _letter(
        visit,
        gettext("More work at our visit to {site}").format(site=visit.site.name),
        *paragraphs,
        gettext("If this does not suit you, please tell us as early as you can."),
    )


def more_work_for_office(visit: Visit, needs: Iterable[Need], minutes: int) -> Text:
    """What the night would add to a confirmed visit; somebody must accept it or decline it."""
    happened = ngettext(
        "on the confirmed visit of {when} we could also {work}, in {count} more minute; accept or decline it",
        "on the confirmed visit of {when} we could also {work}, in {count} more minutes; accept or decline it",
        minutes,
    )
    return _for_office(visit, happened.format(work=work_text(needs), when=_appointment(visit), count=minutes))


def withdrawn(visit: Visit, earlier_at: datetime | None) -> Text:
    """A confirmed time, or an offer, is withdrawn."""
    if earlier_at is not None:
        when = arrival_window(earlier_at, visit.site.time_zone)
        changed = gettext("we will not be coming to {place} on {when}.").format(place=_place(visit), when=when)
    else:
        changed = gettext("we will not be coming to {place} at the times we offered you.").format(place=_place(visit))
    return _letter(
        visit,
        gettext("We need to rearrange our visit to {site}").format(site=visit.site.name),
        changed,
        gettext("We will offer you new times. There is nothing you need to do."),
    )


def on_the_way(visit: Visit, driver_name: str, expected_at: datetime | None) -> Text:
    """Somebody has departed."""
    if expected_at is not None:
        opens, closes = _rounded(expected_at, visit.site.time_zone, *_ON_THE_WAY)
        coming = gettext(
            "{driver} is on the way to {place} and should be there between {opens:%H:%M} and {closes:%H:%M}."
        ).format(driver=driver_name, place=_place(visit), opens=opens, closes=closes)
    else:
        coming = gettext("{driver} is on the way to {place}.").format(driver=driver_name, place=_place(visit))
    return _letter(
        visit,
        gettext("{driver} is on the way to {place}").format(driver=driver_name, place=visit.site.name),
        coming,
        gettext("Please make sure that the unit can be reached."),
    )


def done(visit: Visit, lines: Sequence[str], open_needs: Sequence[Need], at: datetime) -> Text:
    """What was done, and what comes next."""
    done_on = at.astimezone(ZoneInfo(visit.site.time_zone)).date()
    was_there = gettext("we were at {place} on {day}.").format(place=_place(visit), day=day_text(done_on))
    work_lines = "\n".join(f"  - {line}" for line in lines)
    return _letter(
        visit,
        gettext("The work at {site} is done").format(site=visit.site.name),
        " ".join([was_there, gettext("What was done:") + f"\n\n{work_lines}"]) if work_lines else was_there,
        # what was best done on a day that has gone by is done as soon as may be
        _next(open_needs, done_on),
    )


def _next(open_needs: Sequence[Need], today: date) -> str:
    if not open_needs:
        return gettext("Nothing else is due now. We watch the readings and write to you when something is due.")
    need = min(open_needs, key=lambda n: (n.best_day is None, n.best_day or date.max, n.pk))
    if need.best_day is None:
        return gettext("What comes next: {work}. We will offer you times for it.").format(work=work_text([need]))
    return gettext("What comes next: {work}, around {day}. We will offer you times for it.").format(
        work=work_text([need]), day=day_text(max(need.best_day, today))
    )


def not_done(visit: Visit) -> Text:
    """The work could not be done: why, and the next step."""
    why, step = _OBSTACLES[Visit.Obstacle(visit.obstacle)]
    return _letter(
        visit,
        gettext("The work at {site} could not be done").format(site=visit.site.name),
        gettext("we could not do the work at {place}: {why}.").format(place=_place(visit), why=gettext(why)),
        gettext(step),
    )


def cancelled(visit: Visit) -> Text:
    """A visit is cancelled."""
    if visit.appointment_at is not None:
        what = gettext("our visit to {place} on {when} is cancelled.")
        what = what.format(place=_place(visit), when=_appointment(visit))
    else:
        what = gettext("our visit to {place} is cancelled.").format(place=_place(visit))
    return _letter(
        visit,
        gettext("Our visit to {site} is cancelled").format(site=visit.site.name),
        what,
        gettext("If work is still due there, we will offer you new times."),
    )


def offer_taken_for_office(visit: Visit) -> Text:
    """A client chose one of the windows."""
    return _for_office(visit, gettext("the client chose {when}").format(when=_appointment(visit)))


def offer_declined_for_office(visit: Visit, windows: Sequence[Mapping[str, str]], reason: str) -> Text:
    """A client declined every window."""
    times = listed(windows_text(windows, visit.site.time_zone))
    return _for_office(visit, gettext("the client declined {times}").format(times=times), reason)


def cancelled_for_office(visit: Visit, note: str) -> Text:
    """A client cancelled the time they were told."""
    if visit.appointment_at is not None:
        happened = gettext("the client cancelled the visit on {when}").format(when=_appointment(visit))
    else:
        happened = gettext("the client cancelled the visit that was offered")
    return _for_office(visit, happened, note)


def call_wanted_for_office(visit: Visit, note: str) -> Text:
    """A client wants to be called about a visit."""
    client = visit.site.client
    phone = client.phone or gettext("no telephone number is stored")
    happened = gettext("{client} wants to be called about the visit: {phone}").format(client=client.name, phone=phone)
    return _for_office(visit, happened, note)


def not_done_for_office(visit: Visit) -> Text:
    """An installer could not do the work; with their note."""
    why = gettext(str(Visit.Obstacle(visit.obstacle).label))
    return _for_office(visit, gettext("the work could not be done: {why}").format(why=why), visit.closing_note)


def cannot_keep_for_office(visit: Visit) -> Text:
    """A confirmed time that a published plan has no place for; the office must call."""
    when = _appointment(visit) if visit.appointment_at is not None else "?"
    words = gettext("nobody can keep the confirmed time, {when}; call the client to find another")
    return _for_office(visit, words.format(when=when))


def somebody() -> str:
    """Whoever comes, where no name is known."""
    return gettext("Our installer")


def _for_office(visit: Visit, happened: str, note: str = "") -> Text:
    """One sentence about a visit, for those who plan."""
    body = gettext("{site} (visit {visit}): {happened}.")
    body = body.format(site=visit.site.name, visit=visit.pk, happened=happened)
    if note.strip():
        body = f"{body}\n\n" + gettext("Note: {note}").format(note=note)
    return Text(f"{visit.site.name}: {happened}"[:200], body)


def found_for_office(finding: Finding, seen_at: datetime) -> Text:
    """What was found at a unit that cannot wait: where, since when, what to do first, and whom to call."""
    unit, site = finding.unit, finding.unit.site
    title = gettext(TITLES[finding.rule])
    subject = gettext("{title}: {site}, unit {unit}").format(title=title, site=site.name, unit=unit.code)
    place = gettext("{site}, {address}").format(site=site.name, address=site.address) if site.address else site.name
    zone = ZoneInfo(site.time_zone)
    words = gettext("{title} at unit {unit}, {place}, seen on {day} at {time}.")
    if known_day(seen_at) is not None:
        words = gettext("{title} at unit {unit}, {place}, seen on {day}.")
    seen = words.format(
        title=title,
        unit=unit.code,
        place=place,
        day=long_day(local_day(seen_at, zone)),
        time=f"{seen_at.astimezone(zone):%H:%M}",
    )
    call = gettext("Call {client}: {phone}.").format(
        client=site.client.name, phone=site.client.phone or gettext("no telephone number is stored")
    )
    return Text(subject[:200], "\n\n".join((seen, finding.installer_sentence, finding.action, call)))


def report_noted(finding: Finding, reading: Reading, call_by: datetime | None) -> Text:
    """To a client: what was understood of a report, what to do now, and when somebody calls."""
    unit, site = finding.unit, finding.unit.site
    title, zone = gettext(TITLES[finding.rule]), ZoneInfo(site.time_zone)
    day = long_day(local_day(reading.taken_at, zone))
    if known_day(reading.taken_at) is None:
        day = gettext("{day} at {time}").format(day=day, time=f"{reading.taken_at.astimezone(zone):%H:%M}")
    subject = gettext("Seen at your unit: {title}, {site}")
    if reading.source == reading.Source.CLIENT:
        opening = gettext("thank you for your report of {day}. We understood: {title}, unit {unit}, {place}.")
        subject = gettext("Your report: {title}, {site}")
    elif reading.recorded_by is not None and reading.recorded_by.role == Membership.Role.INSTALLER:
        opening = gettext("our installer reports on {day}: {title}, unit {unit}, {place}.")
    else:
        opening = gettext("our office noted on {day}: {title}, unit {unit}, {place}.")
    place = f"{site.name}, {site.address}" if site.address else site.name
    paragraphs = [
        opening.format(day=day, title=title, unit=unit.code, place=place),
        finding.client_sentence,
    ]
    if call_by is not None:
        paragraphs.append(sentence_of_call(site.client.phone, call_by.astimezone(zone)))
    if unit.has_drinking_outlet or unit.use in _DRUNK:
        paragraphs.append(gettext(NO_CERTIFICATE))
    greeting = gettext("Hello {name},").format(name=site.client.name)
    body = "\n\n".join([greeting, *paragraphs, signature(site.company)])
    return Text(subject.format(title=title, site=site.name)[:200], body + "\n")


def call_is_coming(phone: str) -> str:
    """To the client who asked to be called about a visit, until somebody has called."""
    if not phone:
        return gettext("You asked for a call. We have no telephone number of yours: please call us.")
    return gettext("You asked for a call: we will call you at {phone}.").format(phone=phone)


def sentence_of_call(phone: str, call_by: datetime) -> str:
    """To the client who reported what cannot wait: by when somebody calls; `call_by` on the clock of the site."""
    day, clock = long_day(call_by.date()), f"{call_by:%H:%M}"
    if not phone:
        words = gettext(
            "The office knows of it. We have no telephone number of yours: please call us before {day}, {time}."
        )
        return words.format(day=day, time=clock)
    words = gettext("The office knows of it, and somebody will call you at {phone} by {day}, {time}.")
    return words.format(phone=phone, day=day, time=clock)


def call_back_for_office(finding: Finding, call_by: datetime) -> Text:
    """To the office: whom to call about a report, by when, and what they were told to do."""
    site = finding.unit.site
    by = call_by.astimezone(ZoneInfo(site.time_zone))
    title, phone = gettext(TITLES[finding.rule]), site.client.phone or gettext("no telephone number is stored")
    subject = gettext("Call {client} by {day}, {time}: {title}, unit {unit}")
    subject = subject.format(
        client=site.client.name, day=long_day(by.date()), time=f"{by:%H:%M}", title=title, unit=finding.unit.code
    )
    number = gettext("Number: {phone}.").format(phone=phone)
    sentence = gettext("The client was told: {sentence}").format(sentence=finding.client_sentence)
    return Text(subject[:200], "\n\n".join((number, sentence)))


def cancelled_for_installer(visit: Visit, at: datetime | None) -> Text:
    """A stop falls out of a round."""
    if at is not None:
        body = gettext("The visit to {place} on {when} is cancelled.")
        body = body.format(place=_place(visit), when=arrival_window(at, visit.site.time_zone))
    else:
        body = gettext("The visit to {place} is cancelled.").format(place=_place(visit))
    return Text(gettext("Cancelled: {site}").format(site=visit.site.name)[:200], body)


def rounds_changed(name: str, sentences: Sequence[str]) -> Text:
    """What changes in an installer's rounds."""
    listed = "\n".join(f"  - {sentence}" for sentence in sentences)
    greeting = gettext("Hello {name},").format(name=name)
    body = "\n\n".join([greeting, gettext("your rounds have changed:"), listed])
    return Text(gettext("Your rounds have changed"), body + "\n")


def order_to_supplier(order: PurchaseOrder, names: Sequence[str]) -> Text:
    """An order, with the names of the documents that hold its lines."""
    supplier, company = order.supplier, order.company
    subject = gettext("Purchase order {number} from {company}").format(number=order.number, company=company.name)
    paragraphs = [
        gettext("please find our order {number} attached: {names}.").format(number=order.number, names=listed(names))
    ]
    if supplier.customer_number:
        paragraphs.append(gettext("Our customer number: {number}").format(number=supplier.customer_number))
    address = supplier.ship_to or company.address
    if address:
        paragraphs.append(gettext("Please deliver to:\n{address}").format(address=address.strip()))
    if order.note.strip():
        paragraphs.append(order.note.strip())
    paragraphs.append(gettext("Please confirm the order and tell us when it will arrive."))
    return _to_supplier(order, subject, paragraphs)


def order_cancelled_for_supplier(order: PurchaseOrder) -> Text:
    """An order that left is not wanted any more."""
    subject = gettext("Please cancel purchase order {number} from {company}")
    paragraph = gettext("please cancel our order {number} of {day}, as far as it has not been delivered.")
    assert order.placed_on is not None
    paragraphs = [paragraph.format(number=order.number, day=long_day(order.placed_on, year=True))]
    if order.supplier.customer_number:
        paragraphs.append(gettext("Our customer number: {number}").format(number=order.supplier.customer_number))
    return _to_supplier(order, subject.format(number=order.number, company=order.company.name), paragraphs)


def _to_supplier(order: PurchaseOrder, subject: str, paragraphs: Sequence[str]) -> Text:
    greeting = gettext("Hello {name},").format(name=order.supplier.name)
    return Text(subject[:200], "\n\n".join([greeting, *paragraphs, signature(order.company)]) + "\n")


def changes_for(differences: Iterable[Mapping[str, Any]], installer: int) -> list[str]:
    """The sentences of a plan's differences that concern an installer."""
    return [row["sentence"] for row in differences if installer in row["tell_installers"]]


def as_text_message(message: Message, links: Sequence[str]) -> str:
    """A letter in a few hundred characters: what it says between greeting and signature, whom to call, where to answer.

    What does not fit is cut off at a word; links are never cut.
    """
    paragraphs = message.body.strip().split("\n\n")[1:-1]
    plain = " ".join(word for word in " ".join(paragraphs).split() if word not in links)
    company = message.company
    call = gettext("Call us: {phone}").format(phone=company.phone) if company.phone else ""
    end = " ".join(part for part in (*links, call) if part)
    begun = gettext("{company}: {text}").format(company=company.name, text=plain)
    return f"{shorten(begun, max(_LONGEST_TEXT - len(end), _LEAST_TEXT), placeholder=' ...')} {end}".strip()


def answer_entered() -> str:
    """Why nobody has to call any more."""
    return gettext("The client's answer was entered.")


def no_mail_server() -> str:
    """Printed, and read by nobody."""
    return gettext("No mail server is set up: it was written to the terminal, and nobody has got it.")


def no_text_sender() -> str:
    """Nobody sends text messages any more."""
    return gettext("It was not sent: nothing that sends text messages is set up.")


def _letter(visit: Visit, subject: str, *paragraphs: str) -> Text:
    site = visit.site
    greeting = gettext("Hello {name},").format(name=site.client.name)
    body = "\n\n".join([greeting, *paragraphs, signature(site.company)])
    return Text(subject[:200], body + "\n")


def signature(company: Company) -> str:
    """Who writes, and how to reach them."""
    ways = (company.phone, company.email, company.address)
    return "\n".join([company.name, *(" ".join(way.split()) for way in ways if way)])


def _place(visit: Visit) -> str:
    return f"{visit.site.name}, {visit.site.address}" if visit.site.address else str(visit.site.name)


def _installer_name(visit: Visit) -> str:
    return visit.installer.name if visit.installer is not None else ""


def _appointment(visit: Visit) -> str:
    assert visit.appointment_at is not None
    return arrival_window(visit.appointment_at, visit.site.time_zone)


def spoken_minutes(minutes: int) -> int:
    """How long people are told that work takes: to the next quarter of an hour.

    >>> spoken_minutes(0), spoken_minutes(45), spoken_minutes(46)
    (15, 45, 60)
    """
    return 15 * max(1, -(-minutes // 15))


def _duration(minutes: int) -> str:
    """Minutes as people say them, to the next quarter of an hour.

    >>> _duration(40), _duration(60), _duration(95)
    ('45 minutes', '1 hour', '1 hour 45 minutes')
    """
    hours, minutes_left = divmod(spoken_minutes(minutes), 60)
    parts = [ngettext("{count} hour", "{count} hours", hours).format(count=hours)] if hours else []
    if minutes_left:
        parts.append(ngettext("{count} minute", "{count} minutes", minutes_left).format(count=minutes_left))
    return " ".join(parts)
