"""Whatever the product tells people in a night and on the day after it is in the template for translators."""

from datetime import timedelta
from io import StringIO

from django.core.management import call_command

from accounts.language import Translations, speak
from accounts.models import Client, Membership
from fleet.models import Forecast
from fleet.services.findings.findings import refresh_findings
from fleet.services.forecasts.forecasts import forecast_company
from fleet.services.readings.indicators import recompute
from scheduling.exports.calendar import calendar_of, entry_at_appointment
from scheduling.exports.day_sheet_pdf import day_sheet_pdf
from scheduling.exports.order_documents import order_text
from scheduling.management.commands.texts import every_text
from scheduling.models import Message, Need, Round, Visit
from scheduling.services.rounds.day_sheets import day_sheet
from scheduling.services.visits.visits import confirm_visit
from tests import factories
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, RO_DI_TRAIN, Town


class Collecting(Translations):
    """English, with every text that was asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: set[str] = set()

    def gettext(self, message: str) -> str:
        self.asked.add(message)
        return message

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        self.asked.add(msgid1)
        return msgid1 if n == 1 else msgid2


def test_what_is_told_is_in_the_template(town: Town, first_client: Client, owner: Membership) -> None:
    ada = town.installer("Ada", van="Van 7")
    site = town.site(client=first_client, name="Reef House", address="Quay 3", access_notes="Ring twice.")
    unit = town.unit(site, train=RO_DI_TRAIN, has_booster_pump=True, tank="pressurised")
    for days in (40, 20, 1):
        town.read(
            unit,
            at=NOW - timedelta(days=days),
            inlet_pressure_kpa=345.0,
            temperature_degc=25.0,
            feed_tds_mg_per_l=250.0,
            permeate_tds_mg_per_l=9.0,
            product_tds_mg_per_l=7.0,
            permeate_flow_l_per_day=200.0,
        )
    heard = Collecting()
    with speak(heard):
        recompute(company=town.company, now=NOW)
        forecast_company(company=town.company, now=NOW)
        refresh_findings(company=town.company, now=NOW)
        plan = run_night(town, sites=3)
        visit = Visit.objects.filter(site=site).get()
        confirm_visit(
            visit=visit,
            by=owner,
            appointment_at=Round.objects.earliest("day").leaves_at + timedelta(days=1),
            installer=ada,
            outside_access_hours=True,
            now=NOW,
        )
        sheets = [day_sheet_pdf(day_sheet(day=day)) for day in Round.objects.filter(plan=plan)]
        order_text(factories.PurchaseOrderLineFactory(order__company=town.company).order)
        calendar_of(installer=ada, entries=[entry_at_appointment(Visit.objects.get(pk=visit.pk))])
    assert sheets
    assert Forecast.objects.exclude(installer_sentence="").exists()
    assert Message.objects.filter(kind=Message.Kind.CONFIRMED).exists()
    assert len(heard.asked) > 100
    # a task of a whole unit is spoken of by what was told of it already
    told = {", ".join((str(kind.label), about)) for kind in Need.Kind for about in ("tank and housings",)}
    assert sorted(heard.asked - {text.id[0] if text.pluralizable else text.id for text in every_text()} - told) == []


def test_the_command_prints_the_template() -> None:
    printed = StringIO()
    call_command("texts", stdout=printed)
    for name in ("Monday", "lead resin", "permeate TDS at start", "replace cartridge", "agree to nothing"):
        assert (f'msgid "{name}"' in printed.getvalue()) == (name != "agree to nothing")
