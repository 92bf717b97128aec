"""What to do next: parts to order by when, clients to call, how to get in."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path

from accounts.dates import short_day
from accounts.language import gettext
from accounts.models import Company
from scheduling.demo import words
from scheduling.demo.logins import Login
from scheduling.demo.screen import Screen
from scheduling.models import PartsList, Plan, PurchaseOrder, PurchaseOrderLine, Stop, Visit
from scheduling.services.people.words import arrival_window


def show_next(screen: Screen, company: Company, plan: Plan, as_of: date) -> None:
    """Print the orders with their dates and the calls to make."""
    screen.heading(gettext(words.NEXT))
    _show_orders(screen, company, plan, as_of)
    _show_calls(screen, plan)


def _show_orders(screen: Screen, company: Company, plan: Plan, as_of: date) -> None:
    period = (
        PartsList.objects.of_company(company)
        .filter(scope=PartsList.Scope.PERIOD, plan=plan)
        .order_by("-last_day", "first_day")
        .first()
    )
    if period is None:
        return
    drafts = PurchaseOrder.objects.of_company(company).filter(state=PurchaseOrder.State.DRAFT)
    rows = [
        _order(line, company, as_of)
        for order in drafts.select_related("supplier").order_by("number")
        for line in sorted(order.lines.select_related("item"), key=lambda one: (one.order_by or as_of, one.item.code))
    ]
    if not rows:
        screen.line(words.nothing_to_order(period.last_day), indent=2)
        return
    screen.subheading(words.draft_orders(period.last_day))
    columns = tuple(gettext(name) for name in words.ORDER_COLUMNS)
    screen.table(columns, rows, numbers=[columns[at] for at in (0, 4, 6)])
    for order in drafts.select_related("supplier").order_by("number"):
        value = sum((line.cost for line in order.lines.all()), Decimal(0))
        supplier = order.supplier
        text = words.order_value(order.number, supplier.name, value, supplier.minimum_order_value, company.currency)
        screen.line(text, indent=2)


def _order(line: PurchaseOrderLine, company: Company, as_of: date) -> tuple[object, ...]:
    sites = list(dict.fromkeys(row["site_code"] for row in line.wanted_for))
    return (
        line.order.number,
        words.order_by(line.order_by or as_of, as_of),
        line.item.code,
        line.item.name,
        line.packs,
        line.pack_size,
        f"{line.cost:.2f} {company.currency}",
        short_day(line.needed_by) if line.needed_by else "",
        words.wanted_for(sites),
    )


def _show_calls(screen: Screen, plan: Plan) -> None:
    stops = (
        Stop.objects.filter(round__plan=plan, visit__state=Visit.State.PROPOSED)
        .select_related("round__installer", "visit__site__client")
        .order_by("starts_at")
    )
    if not stops:
        return
    screen.subheading(gettext(words.CALLS))
    for stop in stops:
        site = stop.visit.site
        window = arrival_window(stop.starts_at, site.time_zone)
        text = words.call(
            site.client.name, site.code, stop.round.installer.name, window, is_urgent=stop.visit.is_urgent
        )
        screen.line(text, indent=2)


def show_logins(screen: Screen, logins: Sequence[Login], kept_in: Path, server_line: str) -> None:
    """Print how each role gets in, and how to start the server."""
    screen.heading(gettext(words.LOGINS))
    rows = [(login.role, login.name, login.email, login.password) for login in logins if login.password]
    screen.table([gettext(name) for name in words.LOGIN_COLUMNS], rows)
    screen.subheading(gettext(words.TOKENS))
    columns = [gettext(name) for name in words.TOKEN_COLUMNS]
    screen.table(columns, [(login.role, login.name, login.token) for login in logins])
    screen.line(words.kept_in(kept_in), indent=2)
    screen.subheading(gettext(words.START))
    screen.line(server_line, indent=2)
    screen.line(gettext(words.THEN_OPEN), indent=2)


def show_cautions(screen: Screen) -> None:
    """Print the cautions that go with every unit."""
    screen.heading(gettext(words.CAUTIONS_HEADING))
    for caution in map(gettext, words.CAUTIONS):
        screen.line(f"- {caution}", indent=2)
