"""The live visits of a company as far as stock asks of them, with what is to be done on them."""

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from accounts.models import Company
from scheduling.models import Visit, VisitTask
from scheduling.services.needs.rows import NeedRow, need_columns


@dataclass(slots=True)
class LiveVisit:
    """A visit that is still to be made, with the needs on it in the order of work, done ones too."""

    pk: int
    site_id: int
    site_code: str
    site_name: str
    state: str
    best_day: date
    appointment_at: datetime | None
    installer_id: int | None
    travel_cost: float
    needs: list[NeedRow] = field(default_factory=list)

    @property
    def is_confirmed(self) -> bool:
        """Whether a client or an installer counts on it."""
        return self.state in Visit.CONFIRMED_OR_UNDER_WAY


def read_live_visits(*, company: Company, with_forecasts: bool = False) -> dict[int, LiveVisit]:
    """Visit id to visit, in the order of ids, in two queries.

    Parameters
    ----------
    company
        Whose.
    with_forecasts
        Whether the needs have their distributions with them.
    """
    live = Visit.objects.of_company(company).filter(state__in=Visit.LIVE)
    rows: Any = live.order_by("pk").values_list(
        "pk",
        "site_id",
        "site__code",
        "site__name",
        "state",
        "best_day",
        "appointment_at",
        "installer_id",
        "travel_cost",
    )
    visits = {row[0]: LiveVisit(*row) for row in rows}
    tasks = VisitTask.objects.of_company(company).filter(visit__state__in=Visit.LIVE)
    columns = need_columns("need__", with_forecasts=with_forecasts)
    for visit, *need in tasks.order_by("visit_id", "order", "pk").values_list("visit_id", *columns):
        # one that came in between the two queries is of the next look
        if visit in visits:
            visits[visit].needs.append(NeedRow(*need))
    return visits
