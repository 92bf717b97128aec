"""What invoices, credit notes and proposals say beside the data, in the language in use."""

from datetime import date
from decimal import Decimal

from accounts.dates import long_day
from accounts.language import gettext, gettext_noop

COLUMNS = (
    gettext_noop("day"),
    gettext_noop("where"),
    gettext_noop("what"),
    gettext_noop("quantity"),
    "",
    gettext_noop("price"),
    gettext_noop("tax"),
)
NET = gettext_noop("Net")
_MEASURES = {
    "visit": gettext_noop("visit"),
    "hour": gettext_noop("h"),
    "piece": gettext_noop("pc"),
    "month": gettext_noop("month"),
    "year": gettext_noop("year"),
}


def proposal_title(client: str) -> str:
    """Heading of a proposal."""
    return gettext("Proposal of an invoice to {client}").format(client=client)


def invoice_title(number: str) -> str:
    """Heading of an invoice."""
    return gettext("Invoice {number}").format(number=number)


def credit_note_title(number: str, invoice: str) -> str:
    """Heading of a credit note."""
    return gettext("Credit note {number}, cancels invoice {invoice}").format(number=number, invoice=invoice)


def from_seller(name: str, address: str, tax_number: str) -> list[str]:
    """Who asks for the money; address and tax number may be empty."""
    lines = [gettext("From: {name}").format(name=", ".join(filter(None, [name, address])))]
    if tax_number:
        lines.append(gettext("Tax number: {number}").format(number=tax_number))
    return lines


def to_client(name: str, address: str) -> str:
    """Who is asked; the address may be empty."""
    return gettext("To: {name}").format(name=", ".join(filter(None, [name, address])))


def issued_on(day: date) -> str:
    """Day of issue."""
    return gettext("Date: {day}").format(day=long_day(day, year=True))


def supplied(first_day: date, last_day: date) -> str:
    """When it was done that is asked for."""
    if first_day == last_day:
        return gettext("For: {day}").format(day=long_day(first_day, year=True))
    return gettext("For: {first} to {last}").format(
        first=long_day(first_day, year=True), last=long_day(last_day, year=True)
    )


def because(reason: str) -> str:
    """Why an invoice is cancelled."""
    return gettext("Reason: {reason}").format(reason=reason)


def cancelled_by(number: str) -> str:
    """An invoice that does not hold any more."""
    return gettext("CANCELLED by credit note {number}").format(number=number)


def still_missing(sentence: str) -> str:
    """What keeps a proposal from being issued."""
    return gettext("Missing: {sentence}").format(sentence=sentence)


def what(label: str, free_because: str) -> str:
    """What a line is for, and why it is free where it is."""
    return gettext("{what} ({reason})").format(what=label, reason=free_because) if free_because else label


def measure(name: str) -> str:
    """What a quantity is counted in."""
    return gettext(_MEASURES[name])


def amount_in(currency: str) -> str:
    """Heading of the column of money."""
    return gettext("net, {currency}").format(currency=currency)


def tax_of_rate(percent: Decimal, net: Decimal) -> str:
    """Tax on the lines of one rate."""
    return gettext("Tax, {percent} % of {net}").format(percent=f"{percent:.2f}", net=f"{net:.2f}")


def to_pay(currency: str) -> str:
    """Net and tax together."""
    return gettext("Total, {currency}").format(currency=currency)


def nothing_proposed() -> str:
    """No work was reported, or all of it is invoiced."""
    return gettext("There is nothing to invoice.")
