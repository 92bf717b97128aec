"""The outbox: messages are written with the move they tell of, and sent afterwards, each at most once."""

import hashlib
import logging
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F

from accounts.errors import Conflict
from accounts.language import gettext
from accounts.models import Client, Company, Membership
from accounts.services import record
from accounts.wall import inside_company, over_all_companies
from fleet.engineering.diagnosis import CAUSES, SEEN_BY_PEOPLE
from fleet.models import Finding, Reading
from scheduling.models import Installer, Message, MessageDocument, Need, Plan, PurchaseOrder, Stop, Visit
from scheduling.services.people import words
from scheduling.services.people.answer_links import answer_address
from scheduling.services.people.senders import NotSentError, address, deliver
from scheduling.services.people.words import OfferedVisit, Text
from scheduling.services.policy import read_policy


@dataclass(frozen=True, slots=True)
class Document:
    """A document that goes with a letter."""

    name: str
    media_type: str
    content: bytes


log = logging.getLogger(__name__)

Kind, State, Audience = Message.Kind, Message.State, Message.Audience

_FOR_OFFICE_AT_ONCE = tuple(code for code, cause in CAUSES.items() if cause.tells_office_at_once)
_SEEN_BY = (Reading.Source.CLIENT, Reading.Source.INSTALLER)
# What is older was answered, or is known: common practice, no source.
_ANSWERED_WITHIN = timedelta(days=1)
# Between these hours of the site's clock people are telephoned: common practice, no source.
_FIRST_CALL, _LAST_CALL = time(8), time(20)
# People read their post in the afternoon: common practice, no source.
_REMINDER_HOUR = 15
_FARTHEST_REMINDER = timedelta(hours=48)
_MOST_ATTEMPTS = 6
# Nobody telephones about these: the next one says the same.
_NOT_FOR_THE_TELEPHONE = (Kind.DIGEST,)
_FIRST_PAUSE = timedelta(minutes=5)
# Whoever sends takes far less than this; after it, the sender is dead and nobody knows how far it got.
_LONGEST_SENDING = timedelta(hours=1)


# the events


def offered(visit: Visit, earlier_offers: Sequence[dict[str, str]], now: datetime) -> None:
    """Windows were offered; offered once more as they were, nobody hears of it."""
    if visit.offers == list(earlier_offers):
        return
    text = words.offers([OfferedVisit(visit, _open_needs(visit), answer_address(visit))])
    _to_client(visit, Kind.OFFERED, text, now, useful_until=_last_opening([visit]))


def plan_offered(
    client: Client, visits: Sequence[Visit], event: str, now: datetime, again: Collection[int] = ()
) -> Message:
    """A plan offers times for visits of a client: one letter about all of them.

    `again`: ids of visits of which other times were offered before, which do not stand any more.
    """
    unread = {
        visit.pk
        for visit in visits
        if Kind.OFFERED in _replace_waiting(visit, (Kind.OFFERED, Kind.WITHDRAWN, Kind.OFFER_LAPSED), now)
    }
    text = words.offers(
        [
            OfferedVisit(
                visit, _open_needs(visit), answer_address(visit), again=visit.pk in again and visit.pk not in unread
            )
            for visit in visits
        ]
    )
    message = Message(
        company_id=client.company_id,
        event=event_of_client(event, client),
        audience=Audience.CLIENT,
        client=client,
        # a letter about several visits belongs to none of them
        visit=visits[0] if len(visits) == 1 else None,
        kind=Kind.OFFERED,
        useful_until=_last_opening(visits),
    )
    return _write(address(message, client), text, now)


def event_of_client(event: str, client: Client) -> str:
    """What a letter to a client tells of; a digest stands for a long list of visits."""
    name = f"{event} client {client.pk}"
    return name if len(name) <= 120 else f"{hashlib.sha256(event.encode()).hexdigest()} client {client.pk}"


def _last_opening(visits: Iterable[Visit]) -> datetime:
    """After this there is nothing left to choose from."""
    return max(datetime.fromisoformat(offer["opens_at"]) for visit in visits for offer in visit.offers)


def offer_lapsed(visit: Visit, now: datetime) -> None:
    """Nobody chose a window in time."""
    _to_client(visit, Kind.OFFER_LAPSED, words.offer_lapsed(visit), now)


def confirmed(
    *, visit: Visit, earlier_state: Visit.State, earlier_at: datetime | None, by: Membership, now: datetime
) -> None:
    """A time was confirmed, or a confirmed one changed; once more as it was, nobody hears of it.

    Whoever notes a time has it from the client, with an offer before it or without: nobody has to call any more.
    """
    if earlier_state == Visit.State.CONFIRMED and earlier_at == visit.appointment_at:
        return
    if earlier_state == Visit.State.CONFIRMED:
        moved(visit, earlier_at, now)
        return
    _offer_answered(visit, by, now)
    text = words.confirmed(visit, _open_needs(visit), answer_address(visit))
    _to_client(visit, Kind.CONFIRMED, text, now, informed_by=by)


def offer_taken(*, visit: Visit, by: Membership | None, now: datetime) -> None:
    """The client chose, by a link if nobody is named: they get it in writing, and the office reads of it.

    What the office enters was said on the telephone: nobody has to call any more.
    """
    is_client = by is None or by.role == Membership.Role.CLIENT
    answered_by = None if is_client else by
    _offer_answered(visit, answered_by, now)
    text = words.confirmed(visit, _open_needs(visit), answer_address(visit))
    _to_client(visit, Kind.CONFIRMED, text, now, informed_by=answered_by)
    if is_client:
        _to_office(visit, Kind.OFFER_TAKEN, words.offer_taken_for_office(visit), now)


def _offer_answered(visit: Visit, by: Membership | None, now: datetime) -> None:
    """The letter of an offer has its answer: it leaves no more, and the calls about it were made by who entered it."""
    if by is not None:
        calls = Message.objects.filter(visit=visit, kind__in=(Kind.OFFERED, Kind.CALL_WANTED), state=State.TO_CALL)
        calls.update(state=State.CALLED, called_at=now, called_by=by, call_note=words.answer_entered())
    _replace_waiting(visit, (Kind.OFFERED,), now)


def offer_withdrawn(*, visit: Visit, now: datetime) -> None:
    """There is nothing to choose from any more: a letter that has not left stays here."""
    _replace_waiting(visit, (Kind.OFFERED,), now)


def offer_declined(
    *, visit: Visit, windows: Sequence[Mapping[str, str]], reason: str, by: Membership | None, now: datetime
) -> None:
    """The client declined every time that was offered: the office reads which, and why."""
    _offer_answered(visit, None if by is None or by.role == Membership.Role.CLIENT else by, now)
    _to_office(visit, Kind.OFFER_DECLINED, words.offer_declined_for_office(visit, windows, reason), now)


def cancelled_by_client(visit: Visit, note: str, now: datetime) -> None:
    """The client cancelled a time they were told: the office reads which, and why."""
    _to_office(visit, Kind.CANCELLED, words.cancelled_for_office(visit, note), now)


def call_wanted(visit: Visit, note: str, now: datetime) -> None:
    """The client wants to be called about a visit: it stands on the call list, once for each offer or time."""
    text = words.call_wanted_for_office(visit, note)
    _to_office(visit, Kind.CALL_WANTED, text, now, state=State.TO_CALL)


def moved(visit: Visit, was_at: datetime | None, now: datetime) -> None:
    """A confirmed time has changed; who has not yet been told of the earlier one reads of the new one alone."""
    _changed(visit, words.moved(visit, was_at, answer_address(visit)), now)


def other_installers(visits: Iterable[tuple[Visit, int | None]], now: datetime) -> None:
    """Somebody else comes at a confirmed time than the client was told, who may open the door to a name.

    With each visit the id of the installer who was named, None for nobody; where it is the same, nobody hears of it.
    """
    changed = [(visit, was) for visit, was in visits if was is not None and was != visit.installer_id]
    names = dict(Installer.objects.filter(pk__in={was for _, was in changed}).values_list("pk", "name"))
    for visit, was in changed:
        _changed(visit, words.other_installer(visit, names[was], answer_address(visit)), now)


def _changed(visit: Visit, text: Text, now: datetime) -> None:
    """What was confirmed has changed; who has not yet read of it reads of what holds now alone."""
    if Kind.CONFIRMED in _replace_waiting(visit, (Kind.CONFIRMED, Kind.MOVED, Kind.REMINDER), now):
        _to_client(visit, Kind.CONFIRMED, words.confirmed(visit, _open_needs(visit), answer_address(visit)), now)
    else:
        _to_client(visit, Kind.MOVED, text, now)


def remind(*, now: datetime) -> int:
    """Write the reminders that are due: from the afternoon before on, to who was not told of the time that day.

    Returns
    -------
    How many were written.
    """
    visits = (
        Visit.objects.filter(
            state=Visit.State.CONFIRMED, appointment_at__gt=now, appointment_at__lt=now + _FARTHEST_REMINDER
        )
        .select_related("site__client", "site__company", "installer")
        .order_by("appointment_at", "pk")
    )
    with over_all_companies():
        due = list(visits)
    written = 0
    for visit in due:
        with inside_company(visit.company_id):
            written += _remind(visit, now)
    return written


def _remind(visit: Visit, now: datetime) -> bool:
    zone, at = ZoneInfo(visit.site.time_zone), visit.appointment_at
    assert at is not None
    local = now.astimezone(zone)
    is_day_before = at.astimezone(zone).date() - local.date() == timedelta(days=1)
    written_today = Message.objects.filter(
        visit=visit, audience=Audience.CLIENT, created_at__gt=now - timedelta(hours=24)
    )
    event = f"visit {visit.pk} {at.isoformat()} {Kind.REMINDER} client"
    earlier = Message.objects.filter(company_id=visit.company_id, event=event)
    if not is_day_before or local.hour < _REMINDER_HOUR or written_today.exists() or earlier.exists():
        return False
    _to_client(
        visit,
        Kind.REMINDER,
        words.reminder(visit, _open_needs(visit), answer_address(visit)),
        now,
        useful_until=at,
        event=event,
    )
    return True


def extended(
    visit: Visit, added_needs: Sequence[Need], earlier_minutes: int | None, other_units: Sequence[str], now: datetime
) -> None:
    """Work was added to a confirmed visit, which takes longer than the client was told or is about other units too."""
    _to_client(visit, Kind.EXTENDED, words.extended(visit, added_needs, earlier_minutes, other_units), now)


def more_work(visit: Visit, new_needs: Sequence[Need], minutes: int, now: datetime) -> None:
    """The night would add work to a confirmed visit: the office decides."""
    event = f"r{visit.revision} need {max(need.pk for need in new_needs)}"
    text = words.more_work_for_office(visit, new_needs, minutes)
    _to_office(visit, Kind.MORE_WORK, text, now, event=event)


def withdrawn(visit: Visit, was_at: datetime | None, now: datetime) -> None:
    """A confirmed time or an offer was taken back; of an offer whose letter has not left nobody has to hear."""
    if was_at is None and _never_left(visit, now):
        return
    _to_client(visit, Kind.WITHDRAWN, words.withdrawn(visit, was_at), now)


def on_the_way(*, visit: Visit, by: Membership, now: datetime) -> None:
    """Somebody has departed; the drive is that of the published plan."""
    stop = _planned(visit)
    expected = now + timedelta(minutes=stop.driving_minutes) if stop is not None else None
    driver = Installer.objects.of_company(visit.company).filter(membership=by).first() or visit.installer
    driver_name = driver.name if driver is not None else words.somebody()
    until = (expected or now) + timedelta(hours=1)
    _to_client(visit, Kind.ON_THE_WAY, words.on_the_way(visit, driver_name, expected), now, useful_until=until)


def done(visit: Visit, lines: Sequence[str], now: datetime) -> None:
    """The work is done: what was done, and what comes next."""
    open_needs = Need.objects.filter(site_id=visit.site_id, state=Need.State.OPEN, reading_way="")
    open_needs = open_needs.select_related("position")
    at = visit.closed_at or now
    _to_client(visit, Kind.DONE, words.done(visit, lines, list(open_needs), at), now)


def not_done(visit: Visit, now: datetime) -> None:
    """The work could not be done: the client reads why and what comes next, the office with the note."""
    _to_client(visit, Kind.NOT_DONE, words.not_done(visit), now)
    _to_office(visit, Kind.NOT_DONE, words.not_done_for_office(visit), now)


def cancelled(visit: Visit, earlier_state: str, now: datetime) -> None:
    """A visit was cancelled: the client reads it if they knew of it, the installer if it stood in their rounds."""
    is_known = earlier_state in Visit.KNOWN_TO_CLIENT
    if is_known and not (earlier_state == Visit.State.OFFERED and _never_left(visit, now)):
        _to_client(visit, Kind.CANCELLED, words.cancelled(visit), now)
    stop = _planned(visit)
    at = visit.appointment_at or (stop.starts_at if stop is not None else None)
    driver = stop.round.installer if stop is not None else visit.installer
    if driver is not None and at is not None and at > now:
        _to_installer(
            driver,
            Kind.CANCELLED,
            words.cancelled_for_installer(visit, at),
            f"visit {visit.pk} r{visit.revision} {Kind.CANCELLED}",
            now,
            visit=visit,
        )


def rounds_changed(
    company: Company, event: str, differences: Sequence[Mapping[str, Any]], now: datetime, skip: Iterable[int] = ()
) -> None:
    """A plan was published or changed by hand: each installer concerned reads what is different."""
    concerned = {pk for row in differences for pk in row["tell_installers"]} - set(skip)
    for installer in Installer.objects.of_company(company).filter(pk__in=concerned).order_by("pk"):
        text = words.rounds_changed(installer.name, words.changes_for(differences, installer.pk))
        _to_installer(installer, Kind.ROUNDS_CHANGED, text, event, now)


def dropped(visits: Iterable[Visit], event: str, now: datetime) -> None:
    """Confirmed visits that a published plan has no place for: the office must call."""
    for visit in visits:
        text = words.cannot_keep_for_office(visit)
        _to_office(visit, Kind.CANNOT_KEEP, text, now, state=State.TO_CALL, event=event)


def found(*, company: Company, units: Iterable[int], now: datetime) -> int:
    """The office reads at once of what cannot wait, a leak above all; how many messages were written.

    By e-mail to each member of the office, else to the owner; once for each finding, however often it is seen.
    """
    rows = Finding.objects.of_company(company).filter(
        unit__in=list(units), state=Finding.State.OPEN, cause__in=_FOR_OFFICE_AT_ONCE
    )
    events = [(f"finding {finding.pk} office", finding) for finding in rows.select_related("unit__site__client")]
    if not events:
        return 0
    readers = _office_of(company)
    written = 0
    for event, finding in events:
        text = words.found_for_office(finding, finding.last_seen_at or now)
        for reader in readers:
            message = Message(
                company=company,
                event=f"{event} {reader.pk}",
                audience=Audience.OFFICE,
                kind=Kind.FOUND,
                finding=finding,
                state=State.WAITING,
                email=reader.user.email,
            )
            if not Message.objects.of_company(company).filter(event=message.event).exists():
                _write(message, text, now)
                written += 1
    return written


def report_noted(*, company: Company, units: Iterable[int], now: datetime) -> int:
    """Answer clients about what was seen at their units: what was understood, what to do now, when somebody calls.

    Once for each finding that rests on what a client saw, and for those that cannot wait also where an installer saw
    it. Of these a call is promised, and stands on the office's call list until somebody has made it.

    Returns
    -------
    How many messages were written.
    """
    rows = (
        Finding.objects.of_company(company)
        .filter(
            unit__in=list(units),
            state=Finding.State.OPEN,
            rule__in=SEEN_BY_PEOPLE,
            opened_at__gt=now - _ANSWERED_WITHIN,
            reading__source__in=_SEEN_BY,
        )
        .exclude(messages__kind=Kind.REPORT_NOTED)
        .select_related("unit__site__client", "unit__site__company", "reading__recorded_by")
    )
    written = 0
    hours = read_policy(company=company).rules.call_back_hours
    for finding in rows.order_by("pk"):
        assert finding.reading is not None
        by_client, cannot_wait = finding.reading.source == Reading.Source.CLIENT, finding.cause in _FOR_OFFICE_AT_ONCE
        if not (by_client or cannot_wait):
            continue
        client, zone = finding.unit.site.client, ZoneInfo(finding.unit.site.time_zone)
        call_by = call_back_by(now, hours, zone) if cannot_wait else None
        letter = Message(
            company=company,
            event=f"finding {finding.pk} {Kind.REPORT_NOTED} client",
            audience=Audience.CLIENT,
            client=client,
            finding=finding,
            kind=Kind.REPORT_NOTED,
        )
        _write(address(letter, client), words.report_noted(finding, finding.reading, call_by), now)
        written += 1
        if call_by is not None:
            call = Message(
                company=company,
                event=f"finding {finding.pk} {Kind.CALL_BACK} office",
                audience=Audience.OFFICE,
                finding=finding,
                kind=Kind.CALL_BACK,
                state=State.TO_CALL,
            )
            _write(call, words.call_back_for_office(finding, call_by), now)
            written += 1
    return written


def report_gone(*, company: Company, units: Iterable[int], now: datetime) -> int:
    """Nobody reads or calls any more about what is gone or was dismissed; how many messages were replaced."""
    gone = Message.objects.of_company(company).filter(
        finding__unit__in=list(units),
        finding__state__in=(Finding.State.CLOSED, Finding.State.DISMISSED),
        state__in=(State.WAITING, State.TO_CALL),
    )
    return gone.update(state=State.REPLACED, next_attempt_at=now)


def call_back_by(now: datetime, hours: int, zone: ZoneInfo) -> datetime:
    """By when a client is called who reports something now: so many hours on, within the hours of the telephone.

    >>> from datetime import UTC
    >>> call_back_by(datetime(2026, 3, 2, 9, 50, tzinfo=UTC), 4, ZoneInfo("Europe/Berlin")).isoformat()
    '2026-03-02T15:00:00+01:00'
    >>> call_back_by(datetime(2026, 3, 2, 18, 0, tzinfo=UTC), 4, ZoneInfo("Europe/Berlin")).isoformat()
    '2026-03-03T12:00:00+01:00'
    """
    local = now.astimezone(zone)
    opens = datetime.combine(local.date(), _FIRST_CALL, tzinfo=zone)
    by = local + timedelta(hours=hours)
    if local < opens:
        by = opens + timedelta(hours=hours)
    if by.date() > local.date() or by.time() > _LAST_CALL:
        by = opens + timedelta(days=1, hours=hours)
    past = timedelta(minutes=by.minute % 15, seconds=by.second, microseconds=by.microsecond)
    return by if not past else by + timedelta(minutes=15) - past


def order_sent(*, order: PurchaseOrder, documents: Sequence[Document], now: datetime) -> Message:
    """An order goes to its supplier; what could not leave before is replaced."""
    earlier = Message.objects.filter(order=order, kind=Kind.ORDER)
    message = _to_supplier(
        order, Kind.ORDER, words.order_to_supplier(order, [d.name for d in documents]), earlier.count(), now
    )
    earlier.filter(state=State.TO_CALL).exclude(pk=message.pk).update(state=State.REPLACED, next_attempt_at=now)
    MessageDocument.objects.bulk_create(
        MessageDocument(message=message, name=each.name, media_type=each.media_type, content=each.content)
        for each in documents
    )
    return message


def order_cancelled(order: PurchaseOrder, now: datetime) -> None:
    """An order was cancelled: one that has not left stays here, and who has read of it reads that it is not wanted."""
    letters = Message.objects.filter(order=order, kind=Kind.ORDER)
    letters.filter(state__in=(State.WAITING, State.TO_CALL)).update(state=State.REPLACED, next_attempt_at=now)
    if letters.filter(state__in=(State.SENT, State.SENDING, State.CALLED)).exists():
        _to_supplier(order, Kind.ORDER_CANCELLED, words.order_cancelled_for_supplier(order), 0, now)


def digest(reader: Membership, day: date, text: Text, useful_until: datetime, now: datetime) -> None:
    """What needs attention this morning, to one member of the company, once a day."""
    message = Message(
        company_id=reader.company_id,
        event=digest_event(reader, day),
        audience=Audience.OFFICE,
        kind=Kind.DIGEST,
        state=State.WAITING,
        email=reader.user.email,
        useful_until=useful_until,
    )
    _write(message, text, now)


def digest_event(reader: Membership, day: date) -> str:
    """What the morning letter of a day to a member tells of."""
    return f"digest {day} office {reader.pk}"


def _office_of(company: Company) -> list[Membership]:
    """Members of the office, else owners."""
    members = Membership.objects.filter(company=company, is_active=True).select_related("user").order_by("pk")
    for role in (Membership.Role.OFFICE, Membership.Role.OWNER):
        readers = [member for member in members if member.role == role]
        if readers:
            return readers
    return []


# writing


def _open_needs(visit: Visit) -> list[Need]:
    tasks = visit.tasks.select_related("need__position").order_by("order", "pk")
    return [task.need for task in tasks if task.need.state == Need.State.OPEN]


def _planned(visit: Visit) -> Stop | None:
    """Its stop in the newest published plan."""
    stops = Stop.objects.filter(visit=visit, round__plan__state=Plan.State.PUBLISHED)
    return stops.select_related("round__installer__membership__user").order_by("-round__plan__published_at").first()


def _replace_waiting(visit: Visit, kinds: Sequence[Message.Kind], now: datetime) -> set[Message.Kind]:
    """Take back what has not left yet and is no longer so; the kinds that were taken back.

    A letter about several visits stays: it is true of the others, and what follows says what has changed.
    """
    waiting = Message.objects.filter(
        visit=visit, audience=Audience.CLIENT, kind__in=kinds, state__in=(State.WAITING, State.TO_CALL)
    )
    taken_back = {Kind(kind) for kind in waiting.values_list("kind", flat=True)}
    waiting.update(state=State.REPLACED, next_attempt_at=now)
    return taken_back


def _never_left(visit: Visit, now: datetime) -> bool:
    """Take the letter of an offer back if it still lies here; whether its client has heard nothing of the visit yet."""
    if not _replace_waiting(visit, (Kind.OFFERED,), now):
        return False
    return not Message.objects.filter(visit=visit, audience=Audience.CLIENT).exclude(state=State.REPLACED).exists()


def _to_client(
    visit: Visit,
    kind: Message.Kind,
    text: Text,
    now: datetime,
    useful_until: datetime | None = None,
    event: str = "",
    informed_by: Membership | None = None,
) -> None:
    """Write to the client of a visit; `informed_by`: who has said it to them on the telephone just now."""
    client = visit.site.client
    message = Message(
        company_id=visit.company_id,
        event=event or f"visit {visit.pk} r{visit.revision} {kind} client",
        audience=Audience.CLIENT,
        client=client,
        visit=visit,
        kind=kind,
        useful_until=useful_until,
    )
    if informed_by is not None and address(message, client).state == State.TO_CALL:
        message.state, message.called_at, message.called_by = State.CALLED, now, informed_by
        message.call_note = words.answer_entered()
        _write(message, text, now)
        return
    _write(address(message, client), text, now)


def _to_office(
    visit: Visit, kind: Message.Kind, text: Text, now: datetime, state: Message.State = State.TO_READ, event: str = ""
) -> None:
    _write(
        Message(
            company_id=visit.company_id,
            event=f"visit {visit.pk} {event or f'r{visit.revision}'} {kind} office",
            audience=Audience.OFFICE,
            visit=visit,
            kind=kind,
            state=state,
        ),
        text,
        now,
    )


def _to_installer(
    installer: Installer, kind: Message.Kind, text: Text, event: str, now: datetime, visit: Visit | None = None
) -> None:
    email = installer.membership.user.email if installer.membership.is_active else ""
    _write(
        Message(
            company_id=installer.company_id,
            event=f"{event} installer {installer.pk}",
            audience=Audience.INSTALLER,
            installer=installer,
            visit=visit,
            kind=kind,
            state=State.WAITING if email else State.TO_CALL,
            email=email,
        ),
        text,
        now,
    )


def _to_supplier(order: PurchaseOrder, kind: Message.Kind, text: Text, earlier: int, now: datetime) -> Message:
    email = order.supplier.email
    return _write(
        Message(
            company_id=order.company_id,
            event=f"order {order.pk} {kind} {earlier + 1}",
            audience=Audience.SUPPLIER,
            order=order,
            kind=kind,
            state=State.WAITING if email else State.TO_CALL,
            email=email,
        ),
        text,
        now,
    )


def _write(message: Message, text: Text, now: datetime) -> Message:
    # subjects are one line, whatever a site is called
    message.subject, message.body = " ".join(text.subject.split()), text.body
    message.created_at = message.next_attempt_at = now
    Message.objects.bulk_create([message], ignore_conflicts=True)
    # written before, it stays as it was
    return Message.objects.get(company_id=message.company_id, event=message.event)


# sending


def send_messages(*, now: datetime) -> dict[str, int]:
    """Send what waits, as the settings say; how many were sent, put off, left to the telephone, or to be read here.

    What was only printed, because no mail server is set up, is not sent: it is told by telephone, or read here. A
    message is claimed before it is sent, so that two senders never send one twice. When the server refuses it, it is
    tried again after 5, 10, 20, 40 and 80 minutes, and then told by telephone. One whose sender died half way is told
    by telephone too: nobody knows whether it left. Morning letters never are.
    """
    counts = {"sent": 0, "put_off": 0, "to_call": 0, "to_read": 0, "expired": 0}
    with over_all_companies():
        due = _settle_what_waits(counts, now)
    for pk, company_id in due:
        with inside_company(company_id):
            claimed = Message.objects.filter(pk=pk, state=State.WAITING).update(
                state=State.SENDING, attempts=F("attempts") + 1, next_attempt_at=now, trouble=""
            )
            if claimed:
                counts[_send(Message.objects.select_related("company").get(pk=pk), now)] += 1
    return counts


def _settle_what_waits(counts: dict[str, int], now: datetime) -> list[tuple[int, int]]:
    """Give up what is sent no more, and name what is due with its company."""
    waiting = Message.objects.filter(state=State.WAITING)
    counts["expired"] = waiting.filter(useful_until__lt=now).update(state=State.EXPIRED)
    died = Message.objects.filter(state=State.SENDING, next_attempt_at__lt=now - _LONGEST_SENDING)
    counts["expired"] += died.filter(kind__in=_NOT_FOR_THE_TELEPHONE).update(state=State.EXPIRED)
    counts["to_call"] = died.update(
        state=State.TO_CALL, trouble=gettext("The sender stopped half way; nobody knows whether it left.")
    )
    due = waiting.filter(next_attempt_at__lte=now).order_by("created_at", "pk")
    return list(due.values_list("pk", "company_id"))


def _send(message: Message, now: datetime) -> str:
    try:
        deliver(message)
    except NotSentError as error:
        message.trouble = str(error)
        # the office reads its own messages here
        message.state = State.TO_READ if message.audience == Audience.OFFICE else State.TO_CALL
        message.save(update_fields=["state", "trouble"])
        return str(message.state.value)
    # whatever the mail library or the network comes up with, the next message must still be sent
    except Exception as error:
        log.warning("message %s could not be sent: %s", message.pk, error)
        message.trouble = f"{type(error).__name__}: {error}"[:300]
        put_off = message.attempts < _MOST_ATTEMPTS or message.kind in _NOT_FOR_THE_TELEPHONE
        message.state = State.WAITING if put_off else State.TO_CALL
        message.next_attempt_at = now + _FIRST_PAUSE * 2 ** (message.attempts - 1)
        message.save(update_fields=["state", "trouble", "next_attempt_at"])
        return "put_off" if put_off else "to_call"
    message.state, message.sent_at = State.SENT, now
    message.save(update_fields=["state", "sent_at"])
    return "sent"


def note_call(*, message: Message, by: Membership, note: str, now: datetime) -> Message:
    """Take a message off the call list: somebody has told it by telephone.

    Raises
    ------
    Conflict
        When it does not stand on the call list.
    """
    with transaction.atomic():
        row: Message = Message.objects.select_for_update(no_key=True).get(pk=message.pk)
        if row.state != State.TO_CALL:
            raise Conflict("not_on_the_call_list", f"The message is '{row.get_state_display()}'; nobody has to call.")
        row.state, row.called_at, row.called_by, row.call_note = State.CALLED, now, by, note
        row.save(update_fields=["state", "called_at", "called_by", "call_note"])
        record(by=by, action="note call", subject=row, details={"note": note}, now=now)
    return row
