"""`manage.py nightly`: the nightly run of every company, in this process, for a cron user."""

import logging
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from accounts.errors import DomainError
from accounts.models import Company
from accounts.services.tidying import tidy
from accounts.wall import inside_company, over_all_companies
from scheduling.services.nightly import run_nightly
from scheduling.services.post import send_post

log = logging.getLogger(__name__)


class Command(BaseCommand):
    help = (
        "Forecasts, findings, needs, visits, a plan of the next working days and parts lists for every company. "
        "A second run the same night changes nothing. Ends with an error when a company failed, after all the others."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--company", action="append", help="name or id of a company; may be repeated; default: all")
        parser.add_argument(
            "--everything", action="store_true", help="look at all units anew, and not at those with news alone"
        )
        parser.add_argument("--iterations", type=int, help="effort of the planner, in iterations")

    def handle(self, *args: Any, **options: Any) -> None:
        companies = _companies(options["company"])
        tidy(now=timezone.now())
        failed = 0
        for company in companies:
            # one company's trouble must not cost the others their night
            try:
                with inside_company(company.pk):
                    results = run_nightly(
                        company=company,
                        now=timezone.now(),
                        iterations=options["iterations"],
                        everything=options["everything"],
                    )
            except DomainError as error:
                failed += 1
                self.stderr.write(f"{company}: failed: {error.sentence}")
            except Exception as error:
                failed += 1
                log.exception("the nightly run of company %s failed", company.pk)
                self.stderr.write(f"{company}: failed: {type(error).__name__}: {error}")
            else:
                self.stdout.write(f"{company}: {_line(results)}")
        send_post(now=timezone.now())
        if failed:
            raise CommandError(f"{failed} of {len(companies)} companies failed; see the lines above.")


@over_all_companies()
def _companies(named: list[str] | None) -> list[Company]:
    """The companies that were named; all, where none was."""
    companies = Company.objects.order_by("pk")
    return list(companies.filter(pk__in=[_company_id(str(one)) for one in named]) if named else companies)


def _company_id(named: str) -> int:
    """Id of the company of a name, or of an id where no name is meant."""
    by_name = list(Company.objects.filter(name__iexact=named.strip()).values_list("pk", flat=True))
    if not by_name and named.isdecimal():
        by_name = list(Company.objects.filter(pk=int(named)).values_list("pk", flat=True))
    if len(by_name) != 1:
        names = ", ".join(
            f"'{name}' ({pk})" for pk, name in Company.objects.order_by("pk").values_list("pk", "name")[:20]
        )
        raise CommandError(f"There is no company {named}, or several; there are: {names or 'none yet'}.")
    return by_name[0]


def _line(results: dict[str, Any]) -> str:
    needs, visits, parts = results["needs"], results["visits"], results["parts_lists"]
    return (
        f"needs {needs['opened']} new, {needs['changed']} changed, {needs['dropped']} dropped; "
        f"visits {visits['opened']} new, {visits['changed']} changed, {visits['withdrawn']} withdrawn; "
        f"plan {results['plan']}; parts lists {parts['written']} written"
    )
