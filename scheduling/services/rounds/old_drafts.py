"""Drafts that nobody published and whose days have long gone by: a plan of every night would be kept for ever."""

from datetime import datetime, timedelta

from django.db import transaction

from accounts.models import Company
from accounts.services.companies import lock_company
from scheduling.models import Plan
from scheduling.services.rounds.problem import MOST_DAYS


def delete_old_drafts(*, company: Company, now: datetime) -> int:
    """Delete the plans that were never published and began so long ago that the longest would be over; how many.

    Their rounds and parts lists go with them; orders drafted from such a list stay, and so does the trail.
    """
    with transaction.atomic():
        lock_company(company.pk)
        oldest = company.day_at(now) - timedelta(days=MOST_DAYS)
        old = Plan.objects.of_company(company).filter(published_at=None, first_day__lt=oldest)
        _, by_kind = old.delete()
    return by_kind.get("scheduling.Plan", 0)
