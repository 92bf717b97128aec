"""Where pieces come from, how many are to be ordered, what waits for them and what comes late."""

from collections.abc import Sequence
from datetime import date

from accounts.dates import short_day
from accounts.language import gettext, listed, ngettext

# where the pieces of a visit or a round come from


def from_store(count: int) -> str:
    """So many lie in the store."""
    return gettext("{count} from the store").format(count=count)


def aboard(count: int) -> str:
    """So many lie in the van of the round."""
    return gettext("{count} aboard").format(count=count)


def and_reserved(sources: str, count: int) -> str:
    """So many more lie in the van of the round, and are not there for it; goes on from where its pieces come from."""
    words = ngettext(
        "{sources} {count} more aboard is reserved for another visit.",
        "{sources} {count} more aboard are reserved for other visits.",
        count,
    )
    return words.format(sources=sources, count=count)


def in_van_of(count: int, installer: str) -> str:
    """So many lie in the van of another installer; empty where nobody knows whose."""
    if not installer:
        return gettext("{count} in the van of somebody else").format(count=count)
    return gettext("{count} in the van of {installer}").format(count=count, installer=installer)


def on_order(count: int, order: int, expected_on: date | None, *, is_late: bool) -> str:
    """So many come with an order, perhaps after the day they are needed."""
    if expected_on is None:
        coming = gettext("{count} on order {order}").format(count=count, order=order)
    else:
        words = gettext("{count} on order {order}, expected {day}")
        coming = words.format(count=count, order=order, day=short_day(expected_on, year=True))
    return gettext("{coming}, too late for this day").format(coming=coming) if is_late else coming


def missing(count: int) -> str:
    """So many are nowhere."""
    return gettext("{count} neither in stock nor ordered").format(count=count)


# what is moved between store and van


def loaded_for(day: date) -> str:
    """Why pieces were moved: for a round on a day."""
    return gettext("load of the van for {day}").format(day=short_day(day, year=True))


def for_the_van(for_visits: int, spare: int) -> str:
    """Why so many go into the van."""
    visits = ngettext("{count} piece for visits", "{count} pieces for visits", for_visits).format(count=for_visits)
    words = gettext("{spare} to spare, as cartridges on the way may turn out to be exhausted")
    spares = words.format(spare=spare)
    return listed([part for part, count in ((visits, for_visits), (spares, spare)) if count])


def for_the_store(for_others: int, expired: int) -> str:
    """Why so many come back to the store."""
    others = ngettext(
        "{count} piece that a visit of another van counts on",
        "{count} pieces that visits of other vans count on",
        for_others,
    ).format(count=for_others)
    gone_off = ngettext("{count} expired piece", "{count} expired pieces", expired).format(count=expired)
    return listed([part for part, count in ((others, for_others), (gone_off, expired)) if count])


# how many a period takes


def wanted_for_visits(count: int, last: date) -> str:
    """So many are used by the visits of a period."""
    words = gettext("{count} for visits until {day}") if count else gettext("None for a visit until {day}")
    return words.format(count=count, day=short_day(last, year=True))


def and_to_spare(count: int, level: float, expected: float) -> str:
    """So many more, at a service level (0-1) and a number used on average; goes on from what the visits use."""
    words = gettext(
        ", and {count} for work that no visit holds yet and for cartridges that may be exhausted sooner: with "
        "{level:g} % probability none is missing ({expected:.1f} are used on average)"
    )
    return words.format(count=count, level=100 * level, expected=expected)


def to_order(demand: str, in_stock: int, coming: int, short: int) -> str:
    """What is there against a demand in words, and what is left to order."""
    if short:
        words = gettext("{demand}. {in_stock} in stock and {coming} on order leave {short} to order.")
    else:
        words = gettext("{demand}. {in_stock} in stock and {coming} on order: nothing to order.")
    return words.format(demand=demand, in_stock=in_stock, coming=coming, short=short)


def order_is_late(day: date, days_late: int, *, is_today: bool) -> str:
    """It should have been ordered days ago; the day it can be now."""
    late = ngettext("late by {days} day", "late by {days} days", days_late).format(days=days_late)
    if is_today:
        return gettext("Order today, {late}.").format(late=late)
    return gettext("Order on {day}, {late}.").format(day=short_day(day, year=True), late=late)


def if_not_ordered(chance: float, next_order_here: date) -> str:
    """What happens if none is ordered now, with its probability (0-1)."""
    words = gettext(
        "If none is ordered now, it runs out with {percent} probability before the next order could be here, about "
        "{day}."
    )
    return words.format(percent=_percent(chance), day=short_day(next_order_here, year=True))


def _percent(chance: float) -> str:
    """A probability in words: certainty is never claimed.

    >>> _percent(0.0004), _percent(0.314), _percent(0.9996)
    ('less than 1 %', '31 %', 'more than 99 %')
    """
    percent = round(100 * chance)
    if percent < 1:
        return gettext("less than 1 %")
    return gettext("more than 99 %") if percent > 99 else gettext("{percent} %").format(percent=percent)


def outlook(there: int, coming: int, least: int, most: int, last: date, runs_out_on: date | None) -> str:
    """What is there of an item, what is wanted of it by a day with 10 and with 90 %, and when it will have run out."""
    if not most:
        words = gettext("None is likely to be wanted until {day}; {there} in stock, {coming} on order.")
        return words.format(day=short_day(last, year=True), there=there, coming=coming)
    if least == most:
        words = ngettext(
            "{most} is wanted until {day}; {there} in stock, {coming} on order.",
            "{most} are wanted until {day}; {there} in stock, {coming} on order.",
            most,
        )
    else:
        words = gettext("{least} to {most} are wanted until {day}; {there} in stock, {coming} on order.")
    wanted = words.format(least=least, most=most, day=short_day(last, year=True), there=there, coming=coming)
    if runs_out_on is None:
        return wanted
    words = gettext("{wanted} More likely than not one is missing by {day}, if none is ordered.")
    return words.format(wanted=wanted, day=short_day(runs_out_on, year=True))


def tops_up(supplier: str, least: str) -> str:
    """Why a line is in an order although it could wait."""
    return gettext("Ordered along to reach the minimum order of {supplier}, {least}.").format(
        supplier=supplier, least=least
    )


def put_in_by_hand() -> str:
    """A line of an order that the parts list does not ask for."""
    return gettext("Put in by hand; the parts list asks for none.")


def nothing_to_order() -> str:
    """Why a draft was cancelled."""
    return gettext("cancelled: nothing is to be ordered any more")


# what waits


def parts_wait(on_order: Sequence[str], orders: Sequence[int], must_order: Sequence[str], until: date) -> str:
    """Codes of the parts a visit waits for: on order, with the orders' numbers, or still to be ordered; until when."""
    day = short_day(until)
    if not on_order:
        return gettext("{items} must be ordered first and can be here for {day}.").format(
            items=listed(must_order), day=day
        )
    coming = _coming(on_order, orders)
    if not must_order:
        return gettext("{coming} and can be here for {day}.").format(coming=coming, day=day)
    words = gettext("{coming}, {items} must be ordered first; all can be here for {day}.")
    return words.format(coming=coming, items=listed(must_order), day=day)


def _coming(items: Sequence[str], orders: Sequence[int]) -> str:
    numbers = ngettext("order {numbers}", "orders {numbers}", len(orders))
    numbers = numbers.format(numbers=listed([str(number) for number in orders]))
    words = ngettext("{items} is on order ({orders})", "{items} are on order ({orders})", len(items))
    return words.format(items=listed(items), orders=numbers)


# what comes late


def late_line(order: int, supplier: str, count: int, item: str, expected_on: date, days_overdue: int) -> str:
    """Pieces that are overdue, or come after a visit that counts on them."""
    if days_overdue:
        words = ngettext(
            "Order {order} to {supplier}: {count} {item} was expected on {day}, {ago}.",
            "Order {order} to {supplier}: {count} {item} were expected on {day}, {ago}.",
            count,
        )
    else:
        words = ngettext(
            "Order {order} to {supplier}: {count} {item} is expected on {day}.",
            "Order {order} to {supplier}: {count} {item} are expected on {day}.",
            count,
        )
    return words.format(
        order=order,
        supplier=supplier,
        count=count,
        item=item,
        day=short_day(expected_on, year=True),
        ago=ngettext("{days} day ago", "{days} days ago", days_overdue).format(days=days_overdue),
    )


def needed_by(visits: Sequence[str], others: int = 0) -> str:
    """Which visits count on what is late, each in the words of `visit_counts_on`, and how many beside them."""
    if not visits:
        return gettext("No visit needs it.")
    if not others:
        return gettext("Needed by {visits}.").format(visits="; ".join(visits))
    words = ngettext("Needed by {visits}; and by {count} other.", "Needed by {visits}; and by {count} others.", others)
    return words.format(visits="; ".join(visits), count=others)


def visit_counts_on(site: str, day: date, pieces: int) -> str:
    """One visit that counts on pieces."""
    words = ngettext("{site} on {day} ({count} piece)", "{site} on {day} ({count} pieces)", pieces)
    return words.format(site=site, day=short_day(day, year=True), count=pieces)
