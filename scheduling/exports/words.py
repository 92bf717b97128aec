"""What printed pages, calendars and routes say beside the data, in the language in use."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from accounts.dates import calendar_day, long_day
from accounts.language import gettext, gettext_noop, listed, ngettext

# headings, translated where they are printed
VAN_LOAD = gettext_noop("The van's load")
LOAD_COLUMNS = (
    gettext_noop("take along"),
    gettext_noop("aboard"),
    gettext_noop("reserved elsewhere"),
    gettext_noop("load"),
    gettext_noop("missing"),
)
CONTACT = gettext_noop("Contact")
GETTING_IN = gettext_noop("Getting in")
WHY = gettext_noop("Why now")
TO_DO = gettext_noop("To do, in order")
PARTS = gettext_noop("Parts")
TAKE_CARE = gettext_noop("Take care")
NOTES = gettext_noop("Notes")
DONE_AT = gettext_noop("Left at (time)")
SIGNED_BY = gettext_noop("Name and signature of the client")
NEVER_READ = gettext_noop("Never read yet.")
NO_POSITIONS = gettext_noop("no positions")
READING_COLUMNS = (gettext_noop("expect after the work"), gettext_noop("before"), gettext_noop("after"))
URGENT = gettext_noop("urgent")
ORDER_COLUMNS = (
    gettext_noop("article"),
    "",
    gettext_noop("packs"),
    gettext_noop("of"),
    gettext_noop("pieces"),
    gettext_noop("a piece"),
)
SUM = gettext_noop("Sum")
CANCELLED = gettext_noop("CANCELLED")
HOME = gettext_noop("Home")
LEAVE_HOME = gettext_noop("Leave home.")
BACK_HOME = gettext_noop("Back home.")


# the day sheet


def sheet_title(day: date, installer: str, van: str) -> str:
    """Whose day it is; the van may be empty."""
    words = gettext("{day}: {installer}, {van}") if van else gettext("{day}: {installer}")
    return words.format(day=long_day(day, year=True), installer=installer, van=van)


def page(number: int) -> str:
    """At the foot of a page."""
    return gettext("page {number}").format(number=number)


def whole_round(
    *, leaves: datetime, returns: datetime, lunch: datetime | None, stops: int, km: float, minutes: float, zone: str
) -> str:
    """When a round begins and ends, and how far it goes; times on the clock of the zone."""
    if lunch is None:
        times = gettext("Leave at {leaves:%H:%M}, back at {returns:%H:%M}")
    else:
        times = gettext("Leave at {leaves:%H:%M}, back at {returns:%H:%M}, lunch at {lunch:%H:%M}")
    return gettext("{times}; {stops}, {km:.0f} km, {driving} at the wheel. Times are those of {zone}.").format(
        times=times.format(leaves=leaves, returns=returns, lunch=lunch),
        stops=ngettext("{count} stop", "{count} stops", stops).format(count=stops),
        km=km,
        driving=_minutes(minutes),
        zone=zone,
    )


def not_published() -> str:
    """The plan of a round is a draft."""
    return gettext("This plan is not published and may change.")


def letters_lost(letters: str) -> str:
    """Some letters are not in the font."""
    words = gettext("? or a plain letter stands for letters that the font of this sheet lacks: {letters}.")
    return words.format(letters=letters)


def stop_title(order: int, starts: datetime, leaves: datetime, site: str, marks: str) -> str:
    """Where a stop is, from when to when, and what is special about it (may be empty)."""
    words = gettext("{order}. {starts:%H:%M} to {leaves:%H:%M}: {site}")
    title = words.format(order=order, starts=starts, leaves=leaves, site=site)
    return f"{title} ({marks})" if marks else title


def confirmed_for(at: datetime) -> str:
    """The start that the client was confirmed."""
    return gettext("confirmed for {at:%H:%M}").format(at=at)


def way_to_stop(address: str, km: float, minutes: float, hours: str) -> str:
    """Where it is, how far, and when it is open; address and hours may be empty."""
    words = gettext("{address}; {km:.0f} km, {driving} on the road. Open {hours}.")
    return words.format(
        address=address or gettext("no address"),
        km=km,
        driving=_minutes(minutes),
        hours=hours or gettext("not on this day: ask first"),
    )


def item_or(item: str, others: str) -> str:
    """A cartridge and what can stand in for it, by their codes."""
    return gettext("{item} (or {others})").format(item=item, others=others)


def task(unit: str, what: str, item: str, minutes: int, *, is_done: bool) -> str:
    """One thing to do; the item may be empty."""
    words = (
        gettext("{unit}: {what}, with {item} ({minutes} min)") if item else gettext("{unit}: {what} ({minutes} min)")
    )
    line = words.format(unit=unit, what=what, item=item, minutes=minutes)
    return gettext("{task} - done already").format(task=line) if is_done else line


def unit_title(code: str, names: str) -> str:
    """Heading of a unit."""
    return gettext("Unit {code}: {names}").format(code=code, names=names)


def in_position(order: int, place: str, item: str, lot: str, since: date | None) -> str:
    """What stands in a position of the train; the item and its lot may be empty."""
    text = gettext("{order} {place}: {item}").format(order=order, place=place, item=item or gettext("empty"))
    text = f"{text} {lot}" if lot else text
    return gettext("{what} since {day}").format(what=text, day=calendar_day(since)) if since is not None else text


def open_finding(sentence: str, make_sure: str, do: str) -> str:
    """What the readings show, how to make sure, what to do; both may be empty."""
    parts = [gettext("Open finding: {sentence}").format(sentence=sentence)]
    parts += [gettext("Make sure: {check}").format(check=make_sure)] if make_sure else []
    parts += [gettext("Do: {action}").format(action=do)] if do else []
    return " ".join(parts)


def read_on(day: date | None) -> str:
    """Heading over the newest readings."""
    return gettext("read {day}").format(day=calendar_day(day)) if day is not None else gettext("read last")


def between(low: str, high: str) -> str:
    """What a reading should be, with its unit; one side may be empty."""
    if low and high:
        return gettext("{low} to {high}").format(low=low, high=high)
    if high:
        return gettext("at most {high}").format(high=high)
    return gettext("at least {low}").format(low=low) if low else ""


def _minutes(minutes: float) -> str:
    count = round(minutes)
    return ngettext("{count} minute", "{count} minutes", count).format(count=count)


# an order to print


def order_title(number: int) -> str:
    """Heading of an order."""
    return gettext("Purchase order {number}").format(number=number)


def order_head(company: str, supplier: str, placed_on: date | None, written_on: date) -> list[str]:
    """Who orders of whom, and when; an order that is not placed is a draft of the day it was last written."""
    if placed_on is not None:
        dated = gettext("Date:  {day}").format(day=long_day(placed_on, year=True))
    else:
        dated = gettext("Draft of {day}, not placed").format(day=long_day(written_on, year=True))
    return [
        gettext("From:  {company}").format(company=company),
        gettext("To:    {supplier}").format(supplier=supplier),
        dated,
    ]


def our_customer_number(number: str) -> str:
    """The company's number in the supplier's books."""
    return gettext("Our customer number: {number}").format(number=number)


def deliver_to(address: str) -> str:
    """Where the supplier is to deliver."""
    return gettext("Deliver to: {address}").format(address=address)


def your_reference(reference: str) -> str:
    """The supplier's own number."""
    return gettext("Your reference: {reference}").format(reference=reference)


def cost_in(currency: str) -> str:
    """Heading of the column of money."""
    return gettext("cost, {currency}").format(currency=currency)


def expected_on(days: list[date]) -> str:
    """When the pieces should come."""
    return gettext("Expected: {days}").format(days=", ".join(long_day(day, year=True) for day in days))


# calendars and routes


def done(site: str) -> str:
    """A visit of a calendar that has been made."""
    return gettext("{site} (done)").format(site=site)


def visits_of(installer: str) -> str:
    """Name of a calendar."""
    return gettext("Visits of {installer}").format(installer=installer)


def parts(lines: Sequence[str]) -> str:
    """What a visit takes along."""
    return gettext("Parts: {parts}").format(parts=listed(list(lines)))


def part(quantity: int, code: str) -> str:
    """So many of an item."""
    return gettext("{count} x {item}").format(count=quantity, item=code)


def to_do(work: str) -> str:
    """What a visit is for, to a client."""
    return gettext("We will {work}.").format(work=work)


def contact(name: str, phone: str) -> str:
    """Whom to call."""
    return gettext("Call {name}: {phone}").format(name=name, phone=phone)


def access(notes: str) -> str:
    """How to get in."""
    return gettext("Access: {notes}").format(notes=notes)


# a client's data


def archive_title(client: str, company: str, day: date) -> str:
    """Whose data an archive holds, of which company and of which day."""
    return gettext("Everything that {company} has stored of {client}, as of {day}").format(
        company=company, client=client, day=long_day(day, year=True)
    )


def archive_page(title: str, counts: Mapping[str, int], pictures: int) -> str:
    """The page of an archive that says what is where."""
    lines = [title, ""]
    lines += [
        ngettext("{table}: one row", "{table}: {count} rows", count).format(table=table, count=count)
        for table, count in counts.items()
    ]
    lines += [ngettext("pictures: one file", "pictures: {count} files", pictures).format(count=pictures), ""]
    lines += [
        gettext("Each table is there twice: as JSON for programs, and as CSV for people and spreadsheets."),
        gettext("Times are given with their offset from UTC; every measured value has its unit."),
        gettext("What happened before the client's time at a site or with a unit is told without its people."),
    ]
    return "\n".join(lines) + "\n"
