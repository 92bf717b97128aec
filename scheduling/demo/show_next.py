"""What to do next: parts to order by when, clients to call, how to get in."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from accounts.models import Company
from scheduling.demo.logins import Login
from scheduling.demo.screen import Screen, day_in_words
from scheduling.models import PartsList, Plan, PurchaseOrder, PurchaseOrderLine, Stop, Visit
from scheduling.services.people.words import arrival_window

CAUTIONS = (
    "Deionised water from these units is not for drinking; a drinking outlet is taken before the resin.",
    "An accredited laboratory says whether water is fit to drink: TDS tells nothing of lead, germs or nitrate.",
    "Drains need an air gap, the supply a backflow preventer; follow the local code and leave it to licensed trades.",
    "Unplug pumps before opening anything; sockets near water need a residual-current device.",
    "Shut the feed and let the pressure off before opening a housing.",
    "Never mix sanitiser with acids; wear gloves and eye protection, flush, and test for chlorine before refitting.",
    "The dates are estimates with the spread stated; they replace no test and no safeguard.",
)


def show_next(screen: Screen, company: Company, plan: Plan, as_of: date) -> None:
    """Print the orders with their dates and the calls to make."""
    screen.heading("What to do next")
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
        screen.line(f"Stock covers everything until {day_in_words(period.last_day)}: nothing to order.", indent=2)
        return
    screen.subheading(f"Draft orders, for the work until {day_in_words(period.last_day)}")
    columns = ("order", "order by", "item", "", "packs", "of", "cost", "wanted", "for")
    screen.table(columns, rows, numbers=("order", "packs", "cost"))
    for order in drafts.select_related("supplier").order_by("number"):
        value = sum(line.cost for line in order.lines.all())
        asks = order.supplier.minimum_order_value
        less = f", less than the {asks:.2f} it asks for" if value < asks else ""
        screen.line(f"Order {order.number} to {order.supplier.name}: {value:.2f} {company.currency}{less}.", indent=2)


def _order(line: PurchaseOrderLine, company: Company, as_of: date) -> tuple[object, ...]:
    last = line.order_by or as_of
    when = "today" if last <= as_of else f"{last:%a} {last.day} {last:%b}"
    late = ", late" if last < as_of else ""
    sites = list(dict.fromkeys(row["site_code"] for row in line.wanted_for))
    more = f" and {len(sites) - 2} more" if len(sites) > 2 else ""
    return (
        line.order.number,
        when + late,
        line.item.code,
        line.item.name,
        line.packs,
        line.pack_size,
        f"{line.cost:.2f} {company.currency}",
        f"{line.needed_by:%a} {line.needed_by.day} {line.needed_by:%b}" if line.needed_by else "",
        f"{', '.join(sites[:2])}{more}" if sites else "to spare",
    )


def _show_calls(screen: Screen, plan: Plan) -> None:
    stops = (
        Stop.objects.filter(round__plan=plan, visit__state=Visit.State.PROPOSED)
        .select_related("round__installer", "visit__site__client")
        .order_by("starts_at")
    )
    if not stops:
        return
    screen.subheading("Call to confirm the time of the visit")
    for stop in stops:
        site = stop.visit.site
        urgent = "urgent, " if stop.visit.is_urgent else ""
        screen.line(
            f"{site.client.name} ({site.code}): {urgent}{stop.round.installer.name} can come on "
            f"{arrival_window(stop.starts_at, site.time_zone)}.",
            indent=2,
        )


def show_logins(screen: Screen, logins: Sequence[Login], kept_in: Path, server_line: str) -> None:
    """Print how each role gets in, and how to start the server."""
    screen.heading("Logins, for this machine only")
    rows = [(login.role, login.name, login.email, login.password) for login in logins if login.password]
    screen.table(("role", "name", "email", "password"), rows)
    screen.subheading("Tokens for programs, good for 90 days")
    screen.table(("role", "of", "token"), [(login.role, login.name, login.token) for login in logins])
    screen.line(f"They are kept in {kept_in}, readable for you alone.", indent=2)
    screen.subheading("Start the server")
    screen.line(server_line, indent=2)
    screen.line("then open http://127.0.0.1:8000/api/v1/docs/ and sign in.", indent=2)


def show_cautions(screen: Screen) -> None:
    """Print the cautions that go with every unit."""
    screen.heading("Cautions")
    for caution in CAUTIONS:
        screen.line(f"- {caution}", indent=2)
