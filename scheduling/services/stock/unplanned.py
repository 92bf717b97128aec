"""What is used without a plan: pieces that no visit and no forecast foresaw."""

from datetime import datetime, timedelta
from typing import Final

from django.db.models import Min, Sum

from accounts.models import Company
from scheduling.models import StockMovement

_REMEMBERED: Final = timedelta(days=365)
#: A ledger that is younger tells nothing of a rate; common practice, no source.
_ENOUGH: Final = timedelta(days=56)
Kind = StockMovement.Kind


def unplanned_use(*, company: Company, now: datetime) -> dict[str, float]:
    """Item key to pieces a day, on average of the past year: used at work without a visit, or scrapped.

    Empty while the ledger is younger than eight weeks.
    """
    movements = StockMovement.objects.of_company(company)
    first = movements.aggregate(first=Min("happened_at"))["first"]
    if first is None or now - first < _ENOUGH:
        return {}
    days = min(now - first, _REMEMBERED).days
    held = movements.filter(happened_at__gt=now - _REMEMBERED, happened_at__lte=now, reversal=None, reversal_of=None)
    at_work = held.filter(kind=Kind.WORK, service_record__visit=None)
    pieces: dict[str, int] = {}
    for rows in (at_work, held.filter(kind=Kind.SCRAP)):
        for item, count in rows.order_by().values_list("item").annotate(count=Sum("pieces")):
            pieces[str(item)] = pieces.get(str(item), 0) + count
    return {item: count / days for item, count in pieces.items()}
