"""What is said of matters that need attention."""

from collections.abc import Sequence
from datetime import date, datetime

from accounts.dates import long_day
from accounts.language import gettext, gettext_noop, listed, ngettext
from fleet.engineering.diagnosis import TITLES
from fleet.forecasting.distribution import percent_text
from fleet.models import Finding, Site, Unit
from scheduling.models import Message, Need, PartsLine, PurchaseOrder, StockLevel, Visit
from scheduling.services.people.words import arrival_window
from scheduling.services.words.tasks import task_at_unit

TITLES_OF_KINDS = {
    "bad_water": gettext_noop("The water is bad now"),
    "bad_water_soon": gettext_noop("The water may soon be bad"),
    "endangers_membrane": gettext_noop("Waiting endangers a membrane"),
    "faults": gettext_noop("Faults to look at"),
    "unread": gettext_noop("Units to be read"),
    "parts_missing": gettext_noop("Confirmed visits without their parts"),
    "late_deliveries": gettext_noop("Late deliveries"),
    "expired_stock": gettext_noop("Pieces in stock that have expired"),
    "orders_not_sent": gettext_noop("Orders that have not reached their supplier"),
    "unanswered": gettext_noop("Offers without an answer"),
    "calls": gettext_noop("Calls to make"),
    "in_no_round": gettext_noop("Confirmed visits in no round"),
    "broken_rounds": gettext_noop("Published stops that nobody can make"),
}


def title(kind: str) -> str:
    """What a kind of matter is called."""
    return gettext(TITLES_OF_KINDS[kind])


def of_finding(finding: Finding) -> str:
    """What was found at a unit."""
    words = gettext("{unit}: {title}. {sentence}")
    sentence = finding.installer_sentence
    title = gettext(TITLES.get(finding.rule, finding.rule))
    return words.format(unit=finding.unit.code, title=title, sentence=sentence)


def of_forecast(need: Need, probability: float, day: date) -> str:
    """How likely what a task replaces is exhausted by a day."""
    words = gettext("{task}: {chance} likely to be exhausted by {day}.")
    return words.format(task=task_at_unit(need), chance=percent_text(probability), day=long_day(day))


def also_seen(sentence: str, finding: Finding) -> str:
    """What a reading shows of that of which a forecast speaks."""
    title = gettext(TITLES.get(finding.rule, finding.rule))
    return gettext("{sentence} Seen: {title}. {finding}").format(
        sentence=sentence, title=title, finding=finding.installer_sentence
    )


def of_wanted_reading(unit: str, reason: str) -> str:
    """Why a reading of a unit, of some code, is wanted."""
    return gettext("{unit}: {reason}").format(unit=unit, reason=reason)


def of_nobody(unit: Unit) -> str:
    """A unit of which nobody knows whose it is, so that nobody can be asked."""
    words = gettext(
        "{unit}: nobody knows whose it is or where it stands, so nobody can be asked and no visit is proposed."
    )
    return words.format(unit=unit.code)


def complete_site(site: Site) -> str:
    """What settles that a unit's client is not known."""
    return gettext("Find out whose it is, and give site {site} that client and its address.").format(site=site.code)


def of_missing_parts(visit: Visit, lines: Sequence[PartsLine]) -> str:
    """Which parts a confirmed visit lacks."""
    parts = listed([gettext("{count} x {item}").format(count=line.short, item=line.item.code) for line in lines])
    words = gettext("{site}, {when}: {parts} will be missing.")
    return words.format(site=visit.site.name, when=_when(visit), parts=parts)


def of_order_not_sent(message: Message, order: PurchaseOrder) -> str:
    """A letter to a supplier that has not left, and what the mail server says."""
    words = gettext("{subject}: the e-mail to {supplier} ({email}) has not left. {trouble}")
    sentence = words.format(
        subject=message.subject, supplier=order.supplier.name, email=message.email, trouble=message.trouble
    )
    if message.state == Message.State.WAITING:
        return gettext("{sentence} It will be tried again.").format(sentence=sentence)
    return sentence.strip()


def send_order_again() -> str:
    """What settles an order that has not left."""
    return gettext("Check the supplier's e-mail address and send the order again, or call them")


def check_email() -> str:
    """What may help while it is still tried."""
    return gettext("Check the supplier's e-mail address")


def of_unanswered(visit: Visit, opens: datetime) -> str:
    """Nobody has chosen one of the times offered."""
    words = gettext("{site}: the client has not answered; the first time offered is {when}.")
    return words.format(site=visit.site.name, when=arrival_window(opens, visit.site.time_zone))


def of_outdated_offer(visit: Visit, starts_at: datetime) -> str:
    """The plan has changed since times were offered."""
    words = gettext("{site}: the rounds have it at {when} by now, which is none of the times offered to the client.")
    return words.format(site=visit.site.name, when=arrival_window(starts_at, visit.site.time_zone))


def of_no_round(visit: Visit) -> str:
    """A confirmed visit for which nobody drives."""
    words = gettext("{site}: confirmed for {when}, and in no published round.")
    return words.format(site=visit.site.name, when=_when(visit))


def _when(visit: Visit) -> str:
    assert visit.appointment_at is not None
    return arrival_window(visit.appointment_at, visit.site.time_zone)


# what settles a matter


def confirm_finding() -> str:
    """Somebody looks and says whether it is so."""
    return gettext("Look at it, then confirm the finding or dismiss it.")


def propose_visits() -> str:
    """No visit has it yet."""
    return gettext("Propose visits.")


def note_time() -> str:
    """The client waits to be asked."""
    return gettext("Call the client, and note the time chosen.")


def offer_again() -> str:
    """Other times must be offered before the client chooses one that nobody keeps."""
    return gettext("Offer the plan again: the client gets new times.")


def offer_plan() -> str:
    """It stands in a published plan and the client knows nothing of it."""
    return gettext("Offer the times of the published plan to the clients.")


def plan_rounds() -> str:
    """A visit is proposed and stands in no published plan."""
    return gettext("Plan rounds, publish the plan and offer it.")


def plan_day(day: date) -> str:
    """A day must be planned anew."""
    return gettext("Plan {day} again, and publish.").format(day=long_day(day))


def plan_through(day: date) -> str:
    """A day that no plan reaches yet must be planned."""
    return gettext("Plan the days through {day}, and publish.").format(day=long_day(day))


def enter_reading() -> str:
    """The client is asked for a reading."""
    return gettext("Ask for a reading and enter it.")


def draft_orders() -> str:
    """Parts are lacking."""
    return gettext("Draft the orders, and place them.")


def of_expired(level: StockLevel, pieces: int) -> str:
    """Pieces of one item at one place that may not be used any more."""
    if level.installer is None:
        words = ngettext(
            "{count} {item} in the store has expired.", "{count} {item} in the store have expired.", pieces
        )
        return words.format(count=pieces, item=level.item.code)
    words = ngettext(
        "{count} {item} in the van of {installer} has expired.",
        "{count} {item} in the van of {installer} have expired.",
        pieces,
    )
    return words.format(count=pieces, item=level.item.code, installer=level.installer.name)


def scrap() -> str:
    """Pieces have expired."""
    return gettext("Scrap them, and enter it.")


def expired() -> str:
    """Why pieces are scrapped."""
    return gettext("expired")


def ask_supplier(supplier: str) -> str:
    """A delivery is late."""
    return gettext("Ask {supplier} for the day of delivery, and enter it.").format(supplier=supplier)


def note_call() -> str:
    """Somebody must be told by telephone."""
    return gettext("Call, and note that you did.")
