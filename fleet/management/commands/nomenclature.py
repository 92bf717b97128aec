"""Print the nomenclature: symbol, names, unit and meaning of every quantity."""

from typing import Any

from django.core.management.base import BaseCommand

from fleet.engineering.nomenclature import TERMS
from fleet.intake.names import public_name, spoken


def table() -> str:
    """The nomenclature as a Markdown table."""
    lines = ["| symbol | in code | in the API | in a log header | unit kept | meaning |", "|---|---|---|---|---|---|"]
    lines += [
        f"| {term.symbol} | `{term.name}` | `{public_name(term.name)}` | {spoken(term.name)} | {term.unit} | "
        f"{term.meaning} |"
        for term in TERMS
    ]
    return "\n".join(lines) + "\n"


class Command(BaseCommand):
    """Print the nomenclature."""

    help = "Print the symbol, names, unit and meaning of every quantity, as a Markdown table."

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the table."""
        self.stdout.write(table(), ending="")
