"""What must be looked at again when something that readings are judged by has changed."""

from collections.abc import Iterable

from django.db.models import Q

from fleet import tasks
from fleet.models import CatalogueItem, Instrument, Unit
from fleet.services.hand_over import hand_over

MOST_UNITS = 2000
"""More units than this wait for the nightly run: a request should not set the whole company in motion."""


def judge_again(company_id: int, unit_ids: Iterable[int], *, of_meters: bool = False) -> None:
    """Once the change is stored, compute the indicators of units again, and with them their findings.

    `of_meters` says that a meter changed: the values stay, how well they are known does not.
    """
    ids = sorted(set(unit_ids))
    if not 0 < len(ids) <= MOST_UNITS:
        return
    hand_over(tasks.recompute_indicators, company_id=company_id, unit_ids=ids, of_meters=of_meters)
    if not of_meters:
        look_for_findings(company_id, ids)


def look_for_findings(company_id: int, unit_ids: Iterable[int]) -> None:
    """Once the change is stored, open, refresh and close the findings of units."""
    ids = sorted(set(unit_ids))
    if 0 < len(ids) <= MOST_UNITS:
        hand_over(tasks.refresh_findings, company_id=company_id, unit_ids=ids)


def units_with_item(item: CatalogueItem) -> list[int]:
    """Units in which an item stands or stood."""
    rows = Unit.objects.filter(company_id=item.company_id, positions__placements__item=item)
    return list(rows.order_by().values_list("pk", flat=True).distinct())


def units_read_with(instrument: Instrument) -> list[int]:
    """Units that an instrument is fitted to, or of which a reading names it."""
    rows = Unit.objects.filter(
        Q(pk=instrument.unit_id) | Q(pk__in=instrument.readings.order_by().values("unit_id")),
        company_id=instrument.company_id,
    )
    return list(rows.order_by().values_list("pk", flat=True))
