"""The nightly review of units: which of them have news, and what is kept for the next night."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final

from django.db import transaction
from django.db.models import QuerySet

from accounts.models import Company
from fleet.models import Finding, Forecast, Position, Reading, Stage, Unit, UnitReview
from fleet.services.known import mark, marks_of_units
from fleet.services.many_units import ids_to_name, of_units

_AT_ONCE: Final = 500


class Review:
    """One run's review of the units of a company: of those with news alone, or of all of them.

    What is known of a unit is asked once for the whole run, before anything is made from it: what changes meanwhile is
    news for the next one.
    """

    def __init__(self, company: Company, *, at_all: bool = False) -> None:
        self._company, self._at_all = company, at_all
        self._marks: dict[int, str] = {}

    def news_for_indicators(self, unit_ids: Sequence[int]) -> dict[int, str]:
        """Units whose indicators may be others than the ones stored -> the mark to keep once they are stored."""
        marks = self._known(unit_ids)
        seen = {} if self._at_all else dict(self._last(unit_ids).values_list("unit_id", "indicators_of"))
        return {unit_id: found for unit_id, found in marks.items() if seen.get(unit_id) != found}

    def news_for_findings(self, unit_ids: Sequence[int], now: datetime) -> dict[int, str]:
        """Units whose findings may be others than the ones stored -> the mark to keep once they are stored.

        A unit has news when what is known of it has changed, when its findings are not as they were left, and when the
        passing of time may say something else of it.
        """
        lag = _exhausted_lags(self._company, unit_ids)
        marks = {unit_id: mark((found, lag.get(unit_id))) for unit_id, found in self._known(unit_ids).items()}
        if self._at_all:
            return marks
        left = findings_left(self._company, unit_ids)
        rows = self._last(unit_ids).values_list("unit_id", "findings_of", "findings_left", "findings_again_at")
        quiet = {
            unit_id
            for unit_id, seen, seen_left, again_at in rows
            if seen == marks.get(unit_id)
            and seen_left == left.get(unit_id, "")
            and (again_at is None or again_at > now)
        }
        return {unit_id: found for unit_id, found in marks.items() if unit_id not in quiet}

    def _known(self, unit_ids: Sequence[int]) -> dict[int, str]:
        missing = [unit_id for unit_id in unit_ids if unit_id not in self._marks]
        if missing:
            self._marks |= marks_of_units(self._company, missing)
        return {unit_id: self._marks[unit_id] for unit_id in unit_ids if unit_id in self._marks}

    def _last(self, unit_ids: Sequence[int]) -> "QuerySet[UnitReview]":
        rows: QuerySet[UnitReview] = UnitReview.objects.of_company(self._company)
        narrowed: QuerySet[UnitReview] = of_units(rows, ids_to_name(self._company, unit_ids), "unit_id")
        return narrowed


def keep_indicators_reviewed(marks: Mapping[int, str]) -> None:
    """Keep what the indicators that are stored now were made from."""
    _keep([UnitReview(unit_id=unit_id, indicators_of=found) for unit_id, found in marks.items()], ["indicators_of"])


def keep_findings_reviewed(
    company: Company, marks: Mapping[int, str], again_at: Mapping[int, datetime | None], now: datetime
) -> None:
    """Keep what the findings that are stored now were made from, and when time alone may change them."""
    unit_ids = list(marks)
    left = findings_left(company, unit_ids)
    coming = Reading.objects.current().of_company(company).filter(unit_id__in=unit_ids, taken_at__gt=now)
    # A reading of a clock that is ahead counts when its moment has come.
    ahead: dict[int, datetime] = {}
    for unit_id, at in coming.order_by("-taken_at").values_list("unit_id", "taken_at"):
        ahead[unit_id] = at
    _keep(
        [
            UnitReview(
                unit_id=unit_id,
                findings_of=found,
                findings_left=left.get(unit_id, ""),
                findings_again_at=min(filter(None, (again_at.get(unit_id), ahead.get(unit_id))), default=None),
            )
            for unit_id, found in marks.items()
        ],
        ["findings_of", "findings_left", "findings_again_at"],
    )


def findings_left(company: Company, unit_ids: Sequence[int]) -> dict[int, str]:
    """Unit id -> mark of its findings that are not closed, without the day on which they were last seen."""
    rows = Finding.objects.of_company(company).filter(closed_at__isnull=True)
    rows = of_units(rows, ids_to_name(company, unit_ids), "unit_id")
    by_unit: dict[int, list[tuple[object, ...]]] = defaultdict(list)
    for unit_id, *row in rows.order_by("pk").values_list(
        "unit_id", "pk", "state", "cause", "rule", "position_id", "reading_id", "confidence", "numbers"
    ):
        by_unit[unit_id].append(tuple(row))
    return {unit_id: mark(found) for unit_id, found in by_unit.items()}


def _exhausted_lags(company: Company, unit_ids: Sequence[int]) -> dict[int, int]:
    """Units whose newest forecast says that the lag resin is exhausted -> the cartridge it speaks of."""
    rows = Forecast.objects.of_company(company).filter(
        is_latest=True,
        state=Forecast.State.EXHAUSTED,
        position__stage=Stage.RESIN,
        position__role=Position.Role.LAG,
        placement__removed_at__isnull=True,
    )
    rows = of_units(rows, ids_to_name(company, unit_ids), "position__unit_id")
    return dict(rows.order_by().values_list("position__unit_id", "placement_id"))


def _keep(reviews: Sequence[UnitReview], names: Sequence[str]) -> None:
    with transaction.atomic():
        # A unit that was deleted while it was looked at is no longer there to be locked.
        ids = [review.unit_id for review in reviews]
        lock = Unit.objects.filter(pk__in=ids).order_by("pk").select_for_update(no_key=True)
        present = set(lock.values_list("pk", flat=True))
        _write([review for review in reviews if review.unit_id in present], names)


def _write(reviews: Sequence[UnitReview], names: Sequence[str]) -> None:
    UnitReview.objects.bulk_create(
        reviews, batch_size=_AT_ONCE, update_conflicts=True, unique_fields=["unit"], update_fields=list(names)
    )
