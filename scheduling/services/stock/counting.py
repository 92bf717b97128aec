"""The rows on which it rests who gets which piece, and what will be wanted: while they stay, so does the answer.

`tests/scheduling/services/stock/test_counting.py` fails where an answer reads a table that is not named here.
"""

from django.db.models import Q

from accounts.models import Company
from accounts.row_versions import Rows
from fleet.models import CatalogueItem, Forecast, PartsRule, Site, Supplier
from scheduling.models import (
    CompanyPolicy,
    Delivery,
    Installer,
    Need,
    Plan,
    PurchaseOrder,
    PurchaseOrderLine,
    RoadCalibration,
    Round,
    StockLevel,
    Stop,
    Visit,
    VisitTask,
)

_LIVE_PLANS = Q(plan__state__in=(Plan.State.PUBLISHED, Plan.State.DRAFT))


def rows_of_allocation(company: Company) -> dict[str, Rows]:
    """What an `Allocation` is worked out from, whatever plan it is asked for, but the day."""
    small = (
        CatalogueItem, CompanyPolicy, Delivery, Installer, PartsRule, PurchaseOrder, PurchaseOrderLine,
        RoadCalibration, Site, StockLevel, Supplier,
    )  # fmt: skip
    live_plans = Plan.objects.of_company(company).filter(state__in=(Plan.State.PUBLISHED, Plan.State.DRAFT))
    rounds = Round.objects.of_company(company).filter(_LIVE_PLANS)
    return {
        **{model.__name__: (model.objects.of_company(company), ()) for model in small},
        "company": (Company.objects.filter(pk=company.pk), ()),
        "plans": (live_plans, ()),
        "rounds": (rounds, ()),
        "stops": (Stop.objects.of_company(company).filter(round__in=rounds), ()),
        "visits": (Visit.objects.of_company(company).filter(state__in=Visit.LIVE), ()),
        "tasks": (
            VisitTask.objects.of_company(company).filter(visit__state__in=Visit.LIVE),
            ("need__kind", "need__position__stage"),
        ),
    }


def rows_of_load(company: Company, plan: Plan) -> dict[str, Rows]:
    """What is loaded for a round of a plan, whatever has become of the plan, is worked out from, but the day."""
    rounds = Round.objects.of_company(company).filter(plan=plan)
    return {
        **rows_of_allocation(company),
        # with all that the chance of a spare rests on
        "needs": _open_needs(
            company,
            "finding__cause",
            "forecast__placement__item",
            "lag_forecast__as_of",
            "lag_forecast__placement__item",
        ),
        "own_rounds": (rounds, ()),
        "own_stops": (Stop.objects.of_company(company).filter(round__in=rounds), ()),
    }


def rows_of_outlook(company: Company) -> dict[str, Rows]:
    """What the outlook is worked out from, but the day and what is used without a plan."""
    return {
        **rows_of_allocation(company),
        "needs": _open_needs(company),
        "forecasts": (
            Forecast.objects.of_company(company).filter(is_latest=True),
            ("placement__item", "position__stage", "position__unit__retired_on"),
        ),
    }


def _open_needs(company: Company, *beside: str) -> Rows:
    needs = Need.objects.of_company(company).filter(Need.TAKES_A_VISIT, state=Need.State.OPEN)
    return needs, ("position__stage", "forecast__as_of", *beside)
