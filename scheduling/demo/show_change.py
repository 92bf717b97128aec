"""One cartridge's forecast before and after a reading that contradicts it; tried out, and nothing of it kept."""

from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from accounts.language import gettext
from accounts.models import Company
from fleet.intake.payloads import take_reading
from fleet.models import Forecast, Reading, Stage
from fleet.services.forecasts.changes import sentence_of_change
from fleet.services.forecasts.forecasts import forecast_company
from scheduling.demo import words
from scheduling.demo.screen import Screen

NOT_BEFORE: Final = timedelta(days=60)
"""A cartridge that is due soon anyhow would not be much of a contradiction."""


def show_change(screen: Screen, company: Company, now: datetime) -> None:
    """Print the forecast of a resin, and what becomes of it when a reading says the contrary, and says it again.

    One look may be a slip of the meter, and moves the date without settling it; the second one does.
    """
    start = _a_resin_with_time_left(company)
    if start is None:
        return
    unit = start.position.unit
    gauges = {"permeate_tds": "9 ppm", "product_tds": f"{max(7.0, 3.0 * unit.product_tds_target_mg_per_l):.0f} ppm"}
    screen.heading(gettext(words.BEFORE_AND_AFTER))
    screen.line(gettext(words.ONLY_TRIED))
    screen.subheading(words.unit_at(unit.code, unit.name, unit.site.name))
    screen.line(f"- {words.before(start.installer_sentence)}", indent=2)
    before = start
    with transaction.atomic():
        for number, word in enumerate((words.ONE_READING, words.READ_AGAIN), start=1):
            # What comes in with the forecast is no news to it.
            at = now + timedelta(minutes=number)
            row = {"unit": unit.code, **gauges}
            take_reading(company=company, by=None, row=row, source=Reading.Source.INSTALLER, now=at)
            forecast_company(company=company, now=at, units=[unit.pk])
            after = Forecast.objects.select_related("position__unit__company").get(
                position=start.position, is_latest=True
            )
            shown = words.gauges(word, gauges["product_tds"], gauges["permeate_tds"])
            screen.line(f"- {shown}", indent=2)
            screen.line(f"- {words.what_changed(sentence_of_change(before=before, after=after))}", indent=2)
            before = after
        transaction.set_rollback(True)
    screen.line(f"- {words.after(before.installer_sentence)}", indent=2)


def _a_resin_with_time_left(company: Company) -> Forecast | None:
    """The last resin of a unit that is best read among those with at least two months left."""
    rows = Forecast.objects.of_company(company).filter(
        is_latest=True,
        state=Forecast.State.INSTALLED,
        position__stage=Stage.RESIN,
        position__role="single",
    )
    rows = rows.select_related("position__unit__site").order_by("position__unit__code", "pk")
    open_ones = [row for row in rows if row.p10 is not None and row.p10 >= row.as_of + NOT_BEFORE]
    return max(open_ones, key=lambda row: row.evidence.get("readings_used", 0), default=None)
