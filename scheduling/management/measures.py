"""What this room adds to the measures of the whole installation."""

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Count, Min, Q
from prometheus_client.core import Metric

from accounts.observing.installation import waiting
from scheduling.models import Message


def messages(now: datetime) -> Iterator[Metric]:
    """Messages that wait to be sent, and those to whom somebody must telephone."""
    useful = Message.objects.filter(~Q(useful_until__lt=now))
    states = {Message.State.WAITING: "to_send", Message.State.TO_CALL: "to_call"}
    found = useful.filter(state__in=list(states)).order_by().values("state")
    by_state = {row["state"]: row for row in found.annotate(n=Count("pk"), oldest=Min("created_at"))}
    counts = {
        kind: (row["n"], row["oldest"]) if (row := by_state.get(state)) else (0, None) for state, kind in states.items()
    }
    yield from waiting("messages", "Messages", counts, now)
