"""`manage.py demo`: an invented company, its logs read, its cartridges forecast, its rounds and parts on the screen."""

import argparse
import shutil
import sys
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import OperationalError, ProgrammingError
from django.utils import timezone

from accounts.dates import long_day
from accounts.errors import Conflict, DomainError
from accounts.language import gettext
from accounts.wall import inside_company, over_all_companies
from fleet.demo.log_files import LogFile
from fleet.demo.scenario import Scenario, ScenarioError, read_scenario
from scheduling.demo import remember, run, words
from scheduling.demo.bare import walk_bare
from scheduling.demo.logins import settle_logins
from scheduling.demo.remove import remove_company
from scheduling.demo.screen import Screen
from scheduling.demo.show_change import show_change
from scheduling.demo.show_logs import show_logs
from scheduling.demo.show_next import show_cautions, show_logins, show_next
from scheduling.demo.show_rounds import show_rounds, show_van_loads
from scheduling.demo.show_units import show_units

EARLIEST = date(2000, 1, 1)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date; write it as 2026-11-25.") from None


def _seed(text: str) -> int:
    if not text.isdecimal() or len(text) > 9:
        raise argparse.ArgumentTypeError(f"'{text}' is not a seed; write a whole number from 0 to 999999999.")
    return int(text)


class Command(BaseCommand):
    """Load the invented company, read its logs, forecast, plan, and print what people want to see."""

    help = (
        "Loads an invented company, reads its messy logs, forecasts every cartridge, plans the next five working days "
        "and prints the rounds, the van loads and what to do next. Run again, it stores nothing twice."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--as-of", type=_day, metavar="DATE", help="the day the demo stands at; else today")
        parser.add_argument("--seed", type=_seed, help="another seed makes another company history; 1 when left out")
        parser.add_argument("--reset", action="store_true", help="delete the demo company first, and nothing else")
        parser.add_argument("--folder", type=Path, metavar="DIR", help="where logs and logins go; .demo when left out")

        parser.add_argument(
            "--bare",
            action="store_true",
            help="instead: an invented company of twelve clients that has nothing but its person's sheets",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        screen = Screen(getattr(self.stdout, "_out", sys.stdout))
        folder: Path = options["folder"] or settings.BASE_DIR / ".demo"
        try:
            scenario = read_scenario(settings.BASE_DIR / "fixtures" / "demo")
            folder.mkdir(parents=True, exist_ok=True)
        except ScenarioError as error:
            raise CommandError(f"The demo's files cannot be used. {error}") from error
        except OSError as error:
            raise CommandError(
                f"{folder} cannot be written ({error.strerror}): give another place with --folder, or run the demo as "
                "the user who owns this directory."
            ) from error
        try:
            call_command("migrate", verbosity=0, interactive=False)
        except (OperationalError, ProgrammingError) as error:
            raise CommandError(
                f"The database cannot be used: {error}. Check DATABASE_URL and its permissions."
            ) from error
        if options["bare"]:
            if any(options[name] not in (None, False) for name in ("as_of", "seed", "reset")):
                raise CommandError("--bare stands at today and goes with --folder alone.")
            try:
                walk_bare(screen=screen, folder=folder / "bare", now=timezone.now())
            except DomainError as error:
                raise CommandError(error.sentence) from None
            return
        try:
            self._run(screen, scenario, folder, options)
        except Conflict as error:
            if error.code != "address_in_use":
                raise
            raise CommandError(
                "An e-mail address of the demo's people has an account in this database already, outside the demo. Run "
                "the demo on another database, named in DATABASE_URL."
            ) from error

    def _run(self, screen: Screen, scenario: Scenario, folder: Path, options: dict[str, Any]) -> None:
        if options["reset"]:
            _reset(screen, folder)
        as_of, seed = _settled(scenario, options)
        real_now = timezone.now()
        now = run.clock_of(scenario, as_of, real_now)
        screen.heading(f"{scenario.company['name']}, {long_day(as_of, year=True)}")
        screen.line(gettext(words.INVENTED))
        with screen.working() as working, over_all_companies():
            remembered, files = run.prepare(
                scenario=scenario,
                as_of=as_of,
                seed=seed,
                folder=folder / "logs",
                logins=folder / "logins.json",
                now=now,
                working=working,
            )
        with inside_company(remembered.company.pk):
            self._go_on(screen, scenario, folder, remembered, files, real_now=real_now)

    def _go_on(
        self,
        screen: Screen,
        scenario: Scenario,
        folder: Path,
        remembered: remember.Remembered,
        files: list[LogFile],
        *,
        real_now: datetime,
    ) -> None:
        as_of = remembered.as_of
        now = run.clock_of(scenario, as_of, real_now)
        with screen.working() as working:
            batches = run.read_logs(
                company=remembered.company, scenario=scenario, files=files, now=now, working=working
            )
            plan = run.judge_and_plan(remembered=remembered, now=now, seed=remembered.seed, working=working)
        show_logs(screen, batches, _shown(folder / "logs"))
        show_units(screen, remembered.company, as_of, now)
        show_change(screen, remembered.company, now)
        show_rounds(screen, plan)
        show_van_loads(screen, plan)
        show_next(screen, remembered.company, plan, as_of)
        show_cautions(screen)
        emails = [person["email"] for person in scenario.company["people"]]
        logins = settle_logins(company=remembered.company, emails=emails, path=folder / "logins.json", now=real_now)
        show_logins(screen, logins, _shown(folder / "logins.json"), f"{_python()} manage.py runserver")


def _settled(scenario: Scenario, options: dict[str, Any]) -> tuple[date, int]:
    """The day and seed to use: those the demo company was made with, else those asked for, else today and 1."""
    today = timezone.now().astimezone(ZoneInfo(scenario.company["time_zone"])).date()
    asked_day, asked_seed = options["as_of"], options["seed"]
    if asked_day is not None and asked_day > today:
        raise CommandError(f"--as-of {asked_day} is in the future: readings end today, {today}.")
    if asked_day is not None and asked_day < EARLIEST:
        raise CommandError(f"--as-of {asked_day} is too long ago: give a day from {EARLIEST} to {today}.")
    remembered = remember.find()
    if remembered is None:
        return asked_day or today, 1 if asked_seed is None else asked_seed
    if asked_day not in (None, remembered.as_of) or asked_seed not in (None, remembered.seed):
        raise CommandError(
            f"The demo company stands at {remembered.as_of} with seed {remembered.seed}. Add --reset to delete it and "
            "make it anew for another day or seed."
        )
    return remembered.as_of, remembered.seed


def _reset(screen: Screen, folder: Path) -> None:
    remembered = remember.find()
    if remembered is not None:
        rows = remove_company(remembered.company)
        screen.line(words.company_deleted(rows))
    shutil.rmtree(folder / "logs", ignore_errors=True)
    (folder / "logins.json").unlink(missing_ok=True)


def _shown(path: Path) -> Path:
    """A path as short as it can be said from where the user stands."""
    try:
        # Not resolved: the python of an environment is a link to one elsewhere.
        return path.absolute().relative_to(Path.cwd())
    except ValueError:
        return path


def _python() -> Path:
    return _shown(Path(sys.prefix) / "bin" / "python") if sys.prefix != sys.base_prefix else Path("python")
