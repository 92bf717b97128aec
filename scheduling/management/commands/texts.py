"""`manage.py texts`: every text that a translation needs, as a template for translators."""

from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from django.core.management.base import BaseCommand

import accounts
from accounts.catalogue import template, texts_of
from fleet.engineering.nomenclature import TERMS
from fleet.intake.names import spoken
from fleet.models import FeedWaterSample, Reading

ROOMS = ("accounts", "fleet", "scheduling")


def every_text() -> Catalog:
    """The texts of every room, and the names of quantities, which are made from their names in code."""
    texts = texts_of(Path(accounts.__file__).parent.parent, ROOMS)
    names = (*Reading.QUANTITIES, *FeedWaterSample.QUANTITIES, *(term.name for term in TERMS))
    for name in dict.fromkeys(spoken(name) for name in names):
        texts.add(name, locations=[("fleet/engineering/nomenclature.py", 1)])
    return texts


class Command(BaseCommand):
    """Print the template."""

    help = "Print every text that a translation needs, as a PO template of GNU gettext."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(template(every_text()), ending="")
