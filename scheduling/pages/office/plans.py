"""The two plans that a page speaks of: the one that is driven by, and the draft that was made after it."""

from typing import Any

from accounts.models import Membership
from scheduling.models import Plan, Stop


def published_and_draft(by: Membership) -> tuple[dict[str, Any] | None, dict[str, Any] | None]:
    """The published plan that is driven by, and the newest draft that was made after it; None where there is none."""
    rows = Plan.objects.visible_to(by)
    columns = ("pk", "first_day", "days", "created_at", "published_at")
    published = rows.filter(state=Plan.State.PUBLISHED).order_by("-published_at", "-pk").values(*columns).first()
    drafts = rows.filter(state=Plan.State.DRAFT)
    if published is not None:
        drafts = drafts.filter(created_at__gte=published["published_at"])
    return published, drafts.order_by("-created_at", "-pk").values(*columns).first()


def visits_in(by: Membership, plan: int) -> set[int]:
    """The visits that have a stop in a plan."""
    return set(Stop.objects.visible_to(by).filter(round__plan=plan).values_list("visit", flat=True))
