"""The demo from an empty database to rounds and parts lists, through the same services that people's requests use."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.language import gettext
from accounts.models import Company, Membership
from fleet.demo.life import live_all
from fleet.demo.load import load_company
from fleet.demo.log_files import FEED_WATER, LogFile
from fleet.demo.logs import write_logs
from fleet.demo.records import Life
from fleet.demo.scenario import Scenario
from fleet.intake import feed_water_log, readings_log
from fleet.models import IntakeBatch
from fleet.services.consequences import held_back
from fleet.services.findings import findings
from fleet.services.forecasts import forecasts
from fleet.services.readings import indicators
from scheduling.demo import remember, words
from scheduling.demo.logins import keep, passwords_for, read_logins
from scheduling.demo.prices import load_prices
from scheduling.demo.screen import Working
from scheduling.demo.vans import load_past_work, load_vans
from scheduling.models import Installer, Plan
from scheduling.services.needs import needs
from scheduling.services.orders import drafts as order_drafts
from scheduling.services.rounds import plans
from scheduling.services.visits import proposals

MORNING: Final = time(6)
"""The demo's clock stands at six in the morning of its day: yesterday is read, no van is on the road yet."""


WORKING_DAYS: Final = 5


def clock_of(scenario: Scenario, as_of: date, real_now: datetime) -> datetime:
    """Six in the morning of the demo's day, but never later than the real clock."""
    return min(datetime.combine(as_of, MORNING, ZoneInfo(scenario.company["time_zone"])), real_now)


def write_log_files(files: Sequence[LogFile], folder: Path) -> None:
    """Save the logs where people can open them; a log that is there already and the same is left alone."""
    folder.mkdir(parents=True, exist_ok=True)
    for file in files:
        path, text = folder / file.name, file.text()
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")


def prepare(
    *, scenario: Scenario, as_of: date, seed: int, folder: Path, logins: Path, now: datetime, working: Working
) -> tuple[remember.Remembered, list[LogFile]]:
    """Find the demo company, or found it, and write its logs."""
    with working.step(gettext(words.LIVING)) as tell:
        lives = live_all(scenario, as_of=as_of, seed=seed, progress=tell)
        files = write_logs(scenario, lives, as_of=as_of, seed=seed)
        write_log_files(files, folder)
    remembered = remember.find()
    if remembered is None:
        with working.step(gettext(words.SETTING_UP)):
            remembered = _create_demo_company(scenario, lives, as_of=as_of, seed=seed, logins=logins, now=now)
    return remembered, files


@transaction.atomic
def _create_demo_company(
    scenario: Scenario, lives: dict[str, Life], *, as_of: date, seed: int, logins: Path, now: datetime
) -> remember.Remembered:
    emails = [person["email"] for person in scenario.company["people"]]
    passwords = passwords_for(emails, logins)
    keep(logins, {**read_logins(logins), "passwords": passwords})
    loaded = load_company(scenario=scenario, lives=lives, passwords=passwords, now=now)
    load_vans(company=loaded.company, members=loaded.members, scenario=scenario, counted_at=now)
    load_past_work(company=loaded.company, members=loaded.members, scenario=scenario, lives=lives, now=now)
    load_prices(company=loaded.company, scenario=scenario, as_of=as_of)
    owner = next(member for member in loaded.members.values() if member.role == Membership.Role.OWNER)
    remember.note(owner=owner, as_of=as_of, seed=seed, now=now)
    return remember.Remembered(loaded.company, owner, as_of, seed)


def read_logs(
    *, company: Company, scenario: Scenario, files: Sequence[LogFile], now: datetime, working: Working
) -> list[IntakeBatch]:
    """Send every log through the intake, as the person who would send it."""
    members = {
        member.user.email: member for member in Membership.objects.of_company(company).select_related("user", "company")
    }
    office = next(member for member in members.values() if member.role == Membership.Role.OFFICE)
    emails = {f"-{person.key}.": person.email for person in scenario.installers}
    batches = []
    total = sum(len(file.rows) for file in files)
    rows_read = 0
    # what follows them is done in steps that can be watched
    with working.step(gettext(words.READING_LOGS)) as tell, held_back():
        # The supply first, as it stands behind every reading.
        for file in sorted(files, key=lambda file: (file.kind != FEED_WATER, file.name)):
            email = next((email for mark, email in emails.items() if mark in file.name), "")
            read_log = feed_water_log.read_log if file.kind == FEED_WATER else readings_log.read_log
            batches.append(
                read_log(
                    company=company,
                    by=members.get(email, office),
                    name=file.name,
                    content=file.text().encode(),
                    now=now,
                )
            )
            rows_read += len(file.rows)
            tell(rows_read / total, file.name)
    return batches


def judge_and_plan(*, remembered: remember.Remembered, now: datetime, seed: int, working: Working) -> Plan:
    """Indicators, findings, forecasts, needs, visits, rounds and parts lists, each by its service."""
    company = remembered.company
    with working.step(gettext(words.COMPUTING)) as tell:
        indicators.recompute(company=company, now=now, progress=tell)
    with working.step(gettext(words.FORECASTING)) as tell:
        forecasts.forecast_company(company=company, now=now, progress=tell)
    with working.step(gettext(words.LOOKING)):
        findings.refresh_findings(company=company, now=now)
    with working.step(gettext(words.DECIDING)):
        needs.refresh_needs(company=company, now=now)
        proposals.propose_visits(company=company, now=now)
    with working.step(gettext(words.PLANNING)) as tell:
        first_day, days = next_working_days(company, remembered.as_of)
        plan = plans.plan_rounds(
            company=company, by=remembered.owner, now=now, first_day=first_day, days=days, progress=tell, seed=seed
        ).plan
    with working.step(gettext(words.DRAFTING)):
        order_drafts.draft_orders(company=company, by=remembered.owner, now=now)
    return plan


def next_working_days(company: Company, as_of: date, wanted_days: int = WORKING_DAYS) -> tuple[date, int]:
    """The first working day after `as_of`, and the calendar days from it that hold the wanted number of them."""
    weekdays = {day for installer in Installer.objects.of_company(company) for day in installer.weekdays}
    day = as_of + timedelta(days=1)
    while day.weekday() not in weekdays:
        day += timedelta(days=1)
    first, working_days = day, 1
    while working_days < wanted_days:
        day += timedelta(days=1)
        working_days += day.weekday() in weekdays
    return first, (day - first).days + 1
