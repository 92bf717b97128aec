"""Answers of clients by the link of their letter, and what the link shows them."""

from datetime import datetime
from typing import Any

from accounts.errors import Conflict, Fault, InvalidInput
from scheduling.models import Message, Need, Visit
from scheduling.services.people import words
from scheduling.services.people.answer_links import AnsweredFor
from scheduling.services.rounds import confirmed_times
from scheduling.services.words.answers import asked_for_call

ACCEPT, DECLINE, CANCEL, CALL_ME = "accept", "decline", "cancel", "call_me"
ANSWERS = (
    (ACCEPT, "accept a window"),
    (DECLINE, "decline every window"),
    (CANCEL, "cancel the time"),
    (CALL_ME, "ask for a call"),
)


def answer(asked: AnsweredFor, *, answer: str, opens_at: datetime | None, note: str, now: datetime) -> Visit:
    """Carry out what a client answers by a link.

    Parameters
    ----------
    asked
        What the link speaks of.
    answer, opens_at, note
        One of `ANSWERS`; when the accepted window opens; why, or what the call is about.
    now
        The present moment.

    Raises
    ------
    Conflict
        When the offer or the time of the link no longer stands, or the window has opened.
    InvalidInput
        When no window is named, or one that is not offered.
    """
    if answer == CALL_ME:
        return confirmed_times.ask_for_call(visit=asked.visit, by=None, note=note, now=now)
    if answer == CANCEL:
        if not asked.may_cancel(now):
            raise Conflict("time_no_longer_stands", _sentence(asked))
        return confirmed_times.cancel(
            visit=asked.visit, by=None, note=note, now=now, appointment_at=asked.visit.appointment_at
        )
    if not asked.is_open:
        raise Conflict("offer_no_longer_stands", _sentence(asked))
    if answer == DECLINE:
        return confirmed_times.decline(visit=asked.visit, by=None, reason=note, now=now, offers=asked.visit.offers)
    if opens_at is None:
        sentence = "opens_at is required: say when the window that you accept opens."
        raise InvalidInput("not_offered", sentence, faults=[Fault("/opens_at", sentence)])
    return confirmed_times.accept(visit=asked.visit, by=None, opens_at=opens_at, now=now)


def as_it_stands(asked: AnsweredFor, now: datetime) -> dict[str, Any]:
    """How the visit of a link stands, for its client: who comes where for what, and what can be chosen."""
    visit = asked.visit
    site, company = visit.site, visit.site.company
    tasks = visit.tasks.select_related("need__position").order_by("order", "pk")
    needs = [task.need for task in tasks if task.need.state == Need.State.OPEN]
    windows = [offer for offer in visit.offers if datetime.fromisoformat(offer["opens_at"]) > now]
    windows = windows if asked.is_open else []
    return {
        "company": company.name,
        "phone": company.phone,
        "site": site.name,
        "address": site.address,
        "work": words.work_text(needs),
        "minutes": words.spoken_minutes(visit.minutes),
        "state": visit.state,
        "sentence": _sentence(asked),
        "is_open": bool(windows),
        "may_cancel": asked.may_cancel(now),
        "windows": [
            {
                "opens_at": datetime.fromisoformat(offer["opens_at"]),
                "closes_at": datetime.fromisoformat(offer["closes_at"]),
                "words": text,
            }
            for offer, text in zip(windows, words.windows_text(windows, site.time_zone), strict=True)
        ],
    }


def _sentence(asked: AnsweredFor) -> str:
    """How the visit stands; to whoever comes by the link of an older offer, that a newer letter has the times."""
    is_older = asked.visit.state == Visit.State.OFFERED and not asked.is_open
    to_call = Message.objects.filter(visit=asked.visit, kind=Message.Kind.CALL_WANTED, state=Message.State.TO_CALL)
    sentence = words.offered_anew() if is_older else words.state_sentence(asked.visit)
    return f"{asked_for_call()} {sentence}" if to_call.exists() else sentence
