"""What the demo tells between its tables; spoken through `accounts.language`."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path

from accounts.dates import long_day, short_day
from accounts.language import gettext, gettext_noop, ngettext
from fleet.forecasting.distribution import percent_text
from scheduling.models import Need

# headings, steps and sentences without facts, translated where they are printed
INVENTED = gettext_noop("The company, its people, places and readings are invented.")
LIVING = gettext_noop("Living through the lives of the units")
SETTING_UP = gettext_noop("Setting up the company, its clients, sites, units and vans")
READING_LOGS = gettext_noop("Reading the logs")
COMPUTING = gettext_noop("Computing the indicators")
FORECASTING = gettext_noop("Forecasting every cartridge")
LOOKING = gettext_noop("Looking for findings")
DECIDING = gettext_noop("Deciding what to do on which visit")
PLANNING = gettext_noop("Planning the rounds, and writing their parts lists")
DRAFTING = gettext_noop("Drafting orders for what is short")

BARE_AGAIN = gettext_noop("The company is there already; the same sheets are brought in again.")
BARE_NEED_COLUMNS = (
    gettext_noop("client"),
    gettext_noop("unit"),
    gettext_noop("replace"),
    gettext_noop("with"),
    gettext_noop("best on"),
    gettext_noop("known by"),
    gettext_noop("a week later"),
)
BARE_ORDER_COLUMNS = (
    gettext_noop("item"),
    gettext_noop("wanted"),
    gettext_noop("in stock"),
    gettext_noop("to order"),
)

WHAT_WAS_READ = gettext_noop("What was read")
CLIENTS_LOGS = gettext_noop("clients' logs")
TOGETHER = gettext_noop("together")
NOTHING_TWICE = gettext_noop("Every row was stored already: nothing was stored twice.")
DOUBTFUL = gettext_noop("Kept, but doubtful")
LOG_COLUMNS = (
    gettext_noop("log"),
    gettext_noop("rows"),
    gettext_noop("stored"),
    gettext_noop("already stored"),
    gettext_noop("refused"),
    gettext_noop("kept but doubtful"),
)

BEFORE_AND_AFTER = gettext_noop("A forecast before and after a reading that contradicts it")
ONLY_TRIED = gettext_noop("Tried on one unit; nothing is stored.")
ONE_READING = gettext_noop("a reading")
READ_AGAIN = gettext_noop("flushed, and read again")

VAN_LOADS = gettext_noop("Each van's load")

NEXT = gettext_noop("What to do next")
CALLS = gettext_noop("Call to confirm the time of the visit")
ORDER_COLUMNS = (
    gettext_noop("order"),
    gettext_noop("order by"),
    gettext_noop("item"),
    "",
    gettext_noop("packs"),
    gettext_noop("of"),
    gettext_noop("cost"),
    gettext_noop("wanted"),
    gettext_noop("for"),
)

LOGINS = gettext_noop("Logins, for this machine only")
LOGIN_COLUMNS = (gettext_noop("role"), gettext_noop("name"), gettext_noop("email"), gettext_noop("password"))
TOKENS = gettext_noop("Tokens for programs, good for 90 days")
TOKEN_COLUMNS = (gettext_noop("role"), gettext_noop("of"), gettext_noop("token"))
START = gettext_noop("Start the server")
THEN_OPEN = gettext_noop("then open http://127.0.0.1:8000/sign-in/ for the pages, and /api/v1/docs/ for the interface.")

CAUTIONS_HEADING = gettext_noop("Cautions")
CAUTIONS = (
    gettext_noop("Deionised water from these units is not for drinking; a drinking outlet is taken before the resin."),
    gettext_noop(
        "An accredited laboratory says whether water is fit to drink: TDS tells nothing of lead, germs or nitrate."
    ),
    gettext_noop(
        "Drains need an air gap, the supply a backflow preventer; follow the local code and leave it to licensed "
        "trades."
    ),
    gettext_noop("Unplug pumps before opening anything; sockets near water need a residual-current device."),
    gettext_noop("Shut the feed and let the pressure off before opening a housing."),
    gettext_noop(
        "Never mix sanitiser with acids; wear gloves and eye protection, flush, and test for chlorine before refitting."
    ),
    gettext_noop("The dates are estimates with the spread stated; they replace no test and no safeguard."),
)


def company_deleted(rows: int) -> str:
    """The demo begins anew."""
    return ngettext(
        "The demo company is deleted with its {rows} row; other companies are untouched.",
        "The demo company is deleted with its {rows} rows; other companies are untouched.",
        rows,
    ).format(rows=rows)


def earlier_files() -> str:
    """The note of work that was done before the company had this program."""
    return gettext("From the files kept before.")


# the logs


def logs_are_in(folder: Path) -> str:
    """Where to find the logs."""
    return gettext("The logs are in {folder}; open them, change them, upload them again.").format(folder=folder)


def several(count: int, name: str) -> str:
    """Logs that are told together."""
    return gettext("{count} {name}").format(count=count, name=name)


def refused_rows(rows: int) -> str:
    """Heading over the rows of the logs that were refused."""
    words = ngettext(
        "Refused, {rows} row: correct it in the log and upload it again",
        "Refused, {rows} rows: correct them in the log and upload it again",
        rows,
    )
    return words.format(rows=rows)


def refused_row(log: str, line: int, sentences: str) -> str:
    """One row that was refused, and why."""
    return gettext("{log}, line {line}: {sentences}").format(log=log, line=line, sentences=sentences)


def doubtful_rows(rows: int, units: int) -> str:
    """How many rows are kept and doubtful for one reason, and of how many units."""
    return gettext("{rows} of {units}").format(
        rows=ngettext("{count} row", "{count} rows", rows).format(count=rows),
        units=ngettext("{count} unit", "{count} units", units).format(count=units),
    )


def doubt(rows: int, units: int, log: str, line: int, place: str, sentence: str) -> str:
    """Why rows are doubtful, with an example."""
    words = gettext("{where}, such as {log} line {line}, {place}: {sentence}")
    return words.format(where=doubtful_rows(rows, units), log=log, line=line, place=place, sentence=sentence)


# the units


def needs_attention(units: int) -> str:
    """Heading."""
    return gettext("What needs attention at {units} units").format(units=units)


def kind_of_matter(title: str, matters: int, units: int) -> str:
    """A kind of matter, and how many there are."""
    counted = ngettext("{count} matter", "{count} matters", matters).format(count=matters)
    where = ngettext("{count} unit", "{count} units", units).format(count=units)
    return gettext("{title}: {matters} at {units}").format(title=title, matters=counted, units=where)


def shown_above(codes: Sequence[str]) -> str:
    """Units of which more was told under an earlier kind."""
    return gettext("And at units told of above: {codes}").format(codes=", ".join(codes))


def waiting_costs(money: float, currency: str) -> str:
    """What leaving it for a week is expected to cost."""
    return gettext("A week of waiting costs about {money:.2f} {currency}.").format(money=money, currency=currency)


def cartridges_in_numbers(
    cartridges: int, exhausted: int, soon: int, soon_days: int, later: int, later_days: int
) -> str:
    """How many cartridges are exhausted, or will be within so many days."""
    return gettext(
        "Of {cartridges} cartridges {exhausted} are exhausted, {soon} more probably within {soon_days} days and "
        "{later} within {later_days}."
    ).format(
        cartridges=cartridges,
        exhausted=exhausted,
        soon=soon,
        soon_days=soon_days,
        later=later,
        later_days=later_days,
    )


def unit_at(code: str, name: str, site: str, address: str = "", *, is_urgent: bool = False) -> str:
    """A unit and where it stands."""
    unit = gettext("{code}, urgent").format(code=code) if is_urgent else code
    place = gettext("{site}, {address}").format(site=site, address=address) if address else site
    return gettext("{unit}: {name} at {place}").format(unit=unit, name=name, place=place)


def unread_for(days: int | None) -> str:
    """How old the last reading is; None: there is none."""
    if days is None:
        return gettext("it was never read")
    return ngettext("the last reading is {days} day old", "the last reading is {days} days old", days).format(days=days)


def make_sure(check: str) -> str:
    """How to confirm a finding."""
    return gettext("make sure: {check}").format(check=check)


def do(action: str) -> str:
    """What to do about a finding."""
    return gettext("do: {action}").format(action=action)


def take_care(caution: str) -> str:
    """What to mind about a finding."""
    return gettext("take care: {caution}").format(caution=caution)


def take_care_at_unit(notes: str) -> str:
    """What to mind at a unit."""
    return gettext("Take care: {notes}").format(notes=notes)


def ask_for_reading(units: int) -> str:
    """Heading over units that nobody reads."""
    return ngettext(
        "Ask for a reading, {units} unit that nobody has read for 12 weeks or longer",
        "Ask for a reading, {units} units that nobody has read for 12 weeks or longer",
        units,
    ).format(units=units)


def unread_unit(code: str, days: int) -> str:
    """One of them."""
    return ngettext("{code} ({days} day)", "{code} ({days} days)", days).format(code=code, days=days)


# a forecast before and after


def before(sentence: str) -> str:
    """What a forecast said."""
    return gettext("before: {sentence}").format(sentence=sentence)


def gauges(word: str, product: str, permeate: str) -> str:
    """What a reading shows."""
    words = gettext("{word}: product TDS {product}, permeate {permeate}")
    return words.format(word=gettext(word), product=product, permeate=permeate)


def what_changed(sentence: str) -> str:
    """What the reading did to the forecast."""
    return gettext("what changed: {sentence}").format(sentence=sentence)


def after(sentence: str) -> str:
    """What the forecast says now."""
    return gettext("after: {sentence}").format(sentence=sentence)


# the rounds


def rounds_from(day: date, visits: int, rounds: int) -> str:
    """Heading."""
    return gettext("Rounds from {day}: {visits} in {rounds}").format(
        day=long_day(day, year=True),
        visits=_visits(visits),
        rounds=ngettext("{count} round", "{count} rounds", rounds).format(count=rounds),
    )


def round_of(day: date, installer: str, van: str, leaves: str, returns: str, km: float, minutes: float) -> str:
    """One round."""
    words = gettext("{who}: leaves {leaves}, back {returns}, {km:.0f} km, {minutes:.0f} min driving")
    return words.format(who=van_on(day, installer, van), leaves=leaves, returns=returns, km=km, minutes=minutes)


def van_on(day: date, installer: str, van: str) -> str:
    """Whose van, on which day; the installer may be empty."""
    if not installer:
        return long_day(day)
    return gettext("{day}, {installer}, {van}").format(day=long_day(day), installer=installer, van=van)


def stop_at(arrives: str, starts: str, leaves: str, site: str, *, is_confirmed: bool) -> str:
    """One stop; `starts` where the installer waits, else empty."""
    times = gettext("{arrives}, waits until {starts} to {leaves}") if starts else gettext("{arrives} to {leaves}")
    line = f"{times.format(arrives=arrives, starts=starts, leaves=leaves)}  {site}"
    return gettext("{stop} (confirmed)").format(stop=line) if is_confirmed else line


def getting_in(notes: str) -> str:
    """How to get in."""
    return gettext("getting in: {notes}").format(notes=notes)


def task_of(need: Need) -> str:
    """'S02-1: replace sediment filter, with SED-5'."""
    words = gettext("{unit}: {action}, with {item}") if need.item is not None else gettext("{unit}: {action}")
    return words.format(unit=need.unit.code, action=_action(need), item=need.item.code if need.item is not None else "")


def _action(need: Need) -> str:
    kind, position = gettext(str(need.get_kind_display())), need.position
    if need.kind == Need.Kind.REPLACE:
        name = need.label or (str(position) if position is not None else gettext_noop("cartridge"))
        return gettext("replace {name}").format(name=gettext(name))
    if need.kind == Need.Kind.ROTATE:
        stage = str(position.stage) if position is not None else gettext_noop("cartridges")
        return gettext("rotate {stage}: {how}").format(stage=gettext(stage), how=kind)
    if need.kind == Need.Kind.REPAIR:
        return gettext("repair {name}").format(name=gettext(need.label or gettext_noop("unit")))
    return kind


def seen_exhausted() -> str:
    """Why a cartridge is replaced: a finding."""
    return gettext("seen exhausted")


def service_time_is_over() -> str:
    """Why a cartridge is replaced: its age, reached before the day of the forecast, which does not say when."""
    return gettext("its maximum service time is over")


def maximum_service_time(day: date, *, is_past: bool) -> str:
    """Why a cartridge is replaced: its age."""
    if is_past:
        words = gettext("its maximum service time was reached on {day}")
    else:
        words = gettext("its maximum service time is reached on {day}")
    return words.format(day=long_day(day))


def likely_exhausted(chance: float) -> str:
    """Why a cartridge is replaced: a forecast."""
    return gettext("{chance} likely exhausted by then").format(chance=percent_text(chance))


def left_out(visits: int) -> str:
    """Heading over visits that no round has."""
    return gettext("Not in these days, {visits}").format(visits=_visits(visits))


def _visits(count: int) -> str:
    return ngettext("{count} visit", "{count} visits", count).format(count=count)


def load_from_store(pieces: list[str]) -> str:
    """What to load."""
    return gettext("load from the store: {pieces}").format(pieces=_pieces(pieces))


def on_board(pieces: list[str]) -> str:
    """What the van has."""
    return gettext("on board already: {pieces}").format(pieces=_pieces(pieces))


def not_in_store(pieces: list[str]) -> str:
    """What is missing."""
    return gettext("not in the store, see the orders: {pieces}").format(pieces=_pieces(pieces))


def _pieces(pieces: list[str]) -> str:
    return ", ".join(pieces) or gettext("nothing")


# what to do next


def nothing_to_order(until: date) -> str:
    """Stock is enough."""
    return gettext("Stock covers everything until {day}: nothing to order.").format(day=long_day(until))


def draft_orders(until: date) -> str:
    """Heading."""
    return gettext("Draft orders, for the work until {day}").format(day=long_day(until))


def known_by(need: Need) -> str:
    """What the date of a need rests on."""
    is_read = need.finding_id is not None or (need.forecast is not None and need.forecast.evidence.get("readings_used"))
    return gettext("readings") if is_read else gettext("its label and load")


def costs_more(money: float, currency: str) -> str:
    """What a week of waiting costs."""
    return gettext("{money:.2f} {currency} more").format(money=money, currency=currency)


def order_value(order: int, supplier: str, value: Decimal, minimum: Decimal, currency: str) -> str:
    """What an order comes to, and whether the supplier takes it."""
    if value < minimum:
        words = gettext("Order {order} to {supplier}: {value:.2f} {currency}, less than the {minimum:.2f} it asks for.")
    else:
        words = gettext("Order {order} to {supplier}: {value:.2f} {currency}.")
    return words.format(order=order, supplier=supplier, value=value, minimum=minimum, currency=currency)


def order_by(last: date, today: date) -> str:
    """By when an order must go out."""
    if last > today:
        return short_day(last)
    return gettext("today, late") if last < today else gettext("today")


def wanted_for(sites: list[str]) -> str:
    """The sites that pieces are for."""
    if not sites:
        return gettext("to spare")
    more = len(sites) - 2
    if more <= 0:
        return ", ".join(sites)
    return gettext("{sites} and {count} more").format(sites=", ".join(sites[:2]), count=more)


def call(client: str, site: str, installer: str, window: str, *, is_urgent: bool) -> str:
    """Whom to call, and what to offer."""
    if is_urgent:
        words = gettext("{client} ({site}): urgent, {installer} can come on {window}.")
    else:
        words = gettext("{client} ({site}): {installer} can come on {window}.")
    return words.format(client=client, site=site, installer=installer, window=window)


def kept_in(path: Path) -> str:
    """Where logins are kept."""
    return gettext("They are kept in {path}, readable for you alone.").format(path=path)


# a company without anything


def bare_founded(owner: str, password: str, installer: str) -> str:
    """The company is founded, with one installer."""
    words = gettext("Founded: {owner} signs in with {password}; {installer} is its installer.")
    return words.format(owner=owner, password=password, installer=installer)


def night_done(needs: int, visits: int) -> str:
    """What is open after the first night."""
    found = ngettext("{needs} need is open", "{needs} needs are open", needs).format(needs=needs)
    proposed = ngettext("{visits} visit proposed", "{visits} visits proposed", visits).format(visits=visits)
    return gettext("{found}, {proposed}.").format(found=found, proposed=proposed)
