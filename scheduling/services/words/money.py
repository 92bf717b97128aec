"""What lines of invoices are called, why some are free, and how figures of money were come by."""

from datetime import date

from accounts.dates import short_day
from accounts.language import gettext, ngettext

# lines


def call_out() -> str:
    """Coming to a site."""
    return gettext("Call-out")


def labour() -> str:
    """Minutes of work at a unit."""
    return gettext("Labour")


def part(code: str, name: str) -> str:
    """Pieces of an item."""
    return gettext("{code}, {name}").format(code=code, name=name)


def contract(name: str, first_day: date, last_day: date) -> str:
    """A period of a contract."""
    return gettext("{name}, {first_day} to {last_day}").format(
        name=name, first_day=first_day.isoformat(), last_day=last_day.isoformat()
    )


# why something is free


def under_warranty(until: date) -> str:
    """A warranty covers it."""
    return gettext("under warranty until {day}").format(day=short_day(until, year=True))


def under_contract(name: str) -> str:
    """A contract covers it."""
    return gettext("covered by {contract}").format(contract=name)


# remarks on a proposal


def is_a_proposal() -> str:
    """What a proposal is, and who answers for the tax on it."""
    return gettext(
        "This is a proposal and not an invoice. Whether its tax rates and wording are right is for the company and its "
        "tax adviser to confirm."
    )


def no_address_of_seller() -> str:
    """The company never said where it is."""
    return gettext(
        "The company's own address is not entered, and invoices usually have to name it: add it with PATCH "
        "/api/v1/company/."
    )


def no_tax_number() -> str:
    """Tax is asked for by somebody who names no number for it."""
    return gettext(
        "The company's own tax number is not entered, and invoices with tax usually have to name it: add it with PATCH "
        "/api/v1/company/."
    )


def no_address_of_client() -> str:
    """Nobody knows where it would be sent."""
    return gettext(
        "No address of the client is known, and invoices usually have to name it: add it to the site, or send it as "
        "bill_to with the invoice."
    )


def no_minutes(day: date, site: str) -> str:
    """A report does not say how long the work took."""
    return gettext("The report of {day} at {site} gives no minutes, so no labour is charged for it.").format(
        day=short_day(day, year=True), site=site
    )


def no_price_of_item(code: str, day: date) -> str:
    """The price list lacks an item."""
    return gettext("{item} has no sales price for {day}: add one with POST /api/v1/sales-prices/.").format(
        item=code, day=short_day(day, year=True)
    )


def no_price_of_work(kind: str, day: date) -> str:
    """The price list lacks the call-out or the hour."""
    return gettext(
        "There is no sales price of kind '{kind}' for {day}: add one with POST /api/v1/sales-prices/."
    ).format(kind=kind, day=short_day(day, year=True))


def no_vat_rate(vat: str, day: date) -> str:
    """Nobody said how high a rate is."""
    return gettext("The {rate} rate of tax is not known for {day}: add it with POST /api/v1/vat-rates/.").format(
        rate=vat, day=short_day(day, year=True)
    )


# how a figure was come by


def counted_by_totaliser(days: float) -> str:
    """The water of a period by its counter."""
    count = round(days)
    return ngettext(
        "by its totaliser, read over {count} day", "by its totaliser, read over {count} days", count
    ).format(count=count)


def stated_use() -> str:
    """The water of a period by what the client said."""
    return gettext("by the weekly use that the client states")


def no_water() -> str:
    """Nothing was used, so nothing can be divided by it."""
    return gettext("no product water in this time")


def waste_unknown(count: int) -> str:
    """Cartridges were changed of which no forecast knew the share left."""
    return ngettext(
        "Of {count} cartridge that was changed no forecast said what was left in it; it counts for nothing here.",
        "Of {count} cartridges that were changed no forecast said what was left in them; they count for nothing here.",
        count,
    ).format(count=count)


def minutes_assumed(count: int) -> str:
    """Reports without minutes."""
    return ngettext(
        "{count} report gives no minutes; the usual ones of the policy stand in for them.",
        "{count} reports give no minutes; the usual ones of the policy stand in for them.",
        count,
    ).format(count=count)


def travel_unknown(count: int) -> str:
    """Visits that stand in no round."""
    return ngettext(
        "{count} report belongs to no published round; its travel is not counted.",
        "{count} reports belong to no published round; their travel is not counted.",
        count,
    ).format(count=count)
