"""`manage.py demo --bare`: an invented company without anything, its person's sheets, and the way to its first plan."""

import json
import secrets
from datetime import datetime, timedelta
from pathlib import Path

from accounts.dates import short_day
from accounts.errors import Conflict
from accounts.language import gettext
from accounts.models import Company, Membership
from accounts.services import create_company
from accounts.services.invented import add_invented_person, choose_for_invented
from accounts.wall import inside_company, over_all_companies
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import BroughtIn
from scheduling.company_files.pages import files_of_directory
from scheduling.company_files.report import report_lines
from scheduling.demo import words
from scheduling.demo.bare_sheets import INSTALLER, NAME, OWNER, bare_sheets
from scheduling.demo.screen import Screen
from scheduling.demo.show_rounds import show_rounds, show_van_loads
from scheduling.models import Need, PartsLine, PartsList, Plan, Visit
from scheduling.services.needs.waiting import cost_of_a_week
from scheduling.services.nightly import run_nightly
from scheduling.services.rounds.plans import plan_rounds

_ROWS_SHOWN = 12
_AHEAD = timedelta(days=31)
#: Two weeks, so that the rounds for which parts must be ordered first are among them.
_FIRST_DAYS = 14


def walk_bare(*, screen: Screen, folder: Path, now: datetime) -> None:
    """Write the sheets, found the company, try them, store them, run a night, and answer the first evening's questions.

    The command that a person would type stands above each step. Walked again, the same sheets change nothing.
    """
    with over_all_companies():
        owner = _founded(screen, now)
    with inside_company(owner.company_id):
        _walk(owner, screen=screen, folder=folder, now=now)


def _walk(owner: Membership, *, screen: Screen, folder: Path, now: datetime) -> None:
    company = owner.company
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in bare_sheets(company.day_at(now)):
        path = folder / name
        if not path.exists():
            path.write_text(text, encoding="utf-8")
    files = files_of_directory(folder)
    _show_command(screen, "bring_in", str(folder))
    _show(screen, bring_in(by=owner, files=files, now=now, is_trial=True))
    _show_command(screen, "bring_in", str(folder), "--store")
    _show(screen, bring_in(by=owner, files=files, now=now, is_trial=False), rows=0)
    _show_command(screen, "nightly", "--company", f'"{company.name}"')
    results = run_nightly(company=company, now=now)
    open_needs = Need.objects.of_company(company).filter(state=Need.State.OPEN).count()
    proposed = Visit.objects.of_company(company).filter(state=Visit.State.PROPOSED).count()
    screen.line(words.night_done(open_needs, proposed), indent=2)
    plan = Plan.objects.of_company(company).get(pk=results["plan"])
    _show_needs(screen, company, now)
    _show_order(screen, plan)
    screen.subheading(" ".join(("POST", "/api/v1/plans/", json.dumps({"days": _FIRST_DAYS}))))
    first_weeks = plan_rounds(company=company, by=owner, now=now, days=_FIRST_DAYS).plan
    show_rounds(screen, first_weeks)
    show_van_loads(screen, first_weeks)


def _founded(screen: Screen, now: datetime) -> Membership:
    screen.heading(NAME)
    screen.line(gettext(words.INVENTED))
    _show_command(screen, "found_company", f'"{NAME}"', OWNER, "--time-zone", "Europe/Berlin")
    company = Company.objects.filter(name=NAME).first()
    if company is not None:
        own = Membership.objects.of_company(company).filter(role=Membership.Role.OWNER, user__email=OWNER).first()
        if own is None:
            raise Conflict("name_in_use", f"There is a company '{NAME}' that is not the demo's; use another database.")
        screen.line(gettext(words.BARE_AGAIN), indent=2)
        return own
    password = secrets.token_urlsafe(12)
    owner = create_company(name=NAME, email=OWNER, time_zone="Europe/Berlin", now=now)
    choose_for_invented(user=owner.user, password=password)
    add_invented_person(
        by=owner,
        email=INSTALLER,
        role=Membership.Role.INSTALLER,
        name="Fitter",
        password=secrets.token_urlsafe(12),
        now=now,
    )
    screen.line(words.bare_founded(OWNER, password, INSTALLER), indent=2)
    return owner


def _show_command(screen: Screen, *words_typed: str) -> None:
    """What a person would type."""
    screen.subheading(" ".join(("manage.py", *words_typed)))


def _show_question(screen: Screen, path: str) -> None:
    """What a person's program would ask."""
    screen.subheading(" ".join(("GET", f"/api/v1/{path}")))


def _show(screen: Screen, result: BroughtIn, *, rows: int = _ROWS_SHOWN) -> None:
    for line in report_lines(result, most=rows):
        if line.strip() and (rows or not line.startswith(" ")):
            screen.line(line, indent=2)


def _show_needs(screen: Screen, company: Company, now: datetime) -> None:
    """Who needs what in the coming month, the dearest to wait with first; readings that a visit takes are left out."""
    last = company.day_at(now) + _AHEAD
    needs = (
        Need.objects.of_company(company)
        .filter(state=Need.State.OPEN, best_day__lte=last, kind=Need.Kind.REPLACE)
        .select_related("unit__site__client", "position", "item", "forecast")
        .order_by("best_day", "unit__code", "position__order")
    )
    dated = [(need.best_day, cost_of_a_week(need, day=need.best_day) or 0.0, need) for need in needs if need.best_day]
    weeks = sorted(dated, key=lambda row: (row[0], -row[1]))
    _show_question(screen, f"needs/?state=open&kind=replace&best_day__lte={last}")
    columns = [gettext(name) for name in words.BARE_NEED_COLUMNS]
    screen.table(
        columns,
        [
            (
                need.unit.site.client.name,
                need.unit.code,
                str(need.position),
                need.item.code if need.item is not None else "",
                short_day(day),
                words.known_by(need),
                words.costs_more(cost, company.currency),
            )
            for day, cost, need in weeks
        ],
        numbers=columns[-1:],
    )


def _show_order(screen: Screen, plan: Plan) -> None:
    """What must be ordered for the coming weeks."""
    period = (
        PartsList.objects.filter(plan=plan, scope=PartsList.Scope.PERIOD).order_by("-last_day", "first_day").first()
    )
    _show_question(screen, "parts-lists/?scope=period")
    if period is None:
        return
    columns = [gettext(name) for name in words.BARE_ORDER_COLUMNS]
    lines = PartsLine.objects.filter(parts_list=period).select_related("item").order_by("item__code")
    screen.table(
        columns,
        [(line.item.code, line.quantity + line.spare, line.in_stock, line.short) for line in lines],
        numbers=columns[1:],
    )
