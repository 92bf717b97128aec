"""Query parameters of lists go by one rule, whatever look-up stands behind them."""

from datetime import date

import pytest
from rest_framework.test import APIClient

from accounts.http.filters import StrictFilterBackend, filter_parameters, plain_name
from accounts.models import Company
from tests import factories
from tests.routes import Route, every_route

pytestmark = pytest.mark.interface

LISTS = [route for route in every_route() if route.action == "list"]
#: Understood as they are: whether something is there is asked by a word of its own kind.
ENDINGS_OF_THE_LIBRARY = ("__isnull", "__in")


@pytest.mark.parametrize("route", LISTS, ids=str)
def test_every_parameter_has_a_plain_name_that_narrows_alike(route: Route) -> None:
    view = route.view_class
    filterset = StrictFilterBackend().get_filterset_class(view, view.queryset)
    filters = filterset.base_filters if filterset is not None else {}
    for name, declared in filters.items():
        if "__" not in name or name.endswith(ENDINGS_OF_THE_LIBRARY):
            continue
        twin = filters[plain_name(name)]
        assert (twin.field_name, twin.lookup_expr) == (declared.field_name, declared.lookup_expr), name
    repeatable = filter_parameters(view)
    assert repeatable.get("state", True), "several states can be asked for"


def test_plain_names_are_understood(as_office: APIClient, company: Company) -> None:
    first, second = (factories.PositionFactory(unit__company=company) for _ in range(2))
    rows = as_office.get("/api/v1/positions/", {"site": first.unit.site_id}).json()["results"]
    assert [row["id"] for row in rows] == [first.pk]
    assert as_office.get("/api/v1/positions/", {"unit__site": second.unit.site_id}).json()["count"] == 1
    for day in (date(2026, 3, 2), date(2026, 3, 9)):
        factories.PlanFactory(company=company, first_day=day, state="draft" if day.day == 2 else "published")
    late = as_office.get("/api/v1/plans/", {"first_day_from": "2026-03-03"}).json()["results"]
    assert [row["first_day"] for row in late] == ["2026-03-09"]
    both = as_office.get("/api/v1/plans/", {"state": ["draft", "published"]}).json()
    assert both["count"] == 2
    refused = as_office.get("/api/v1/plans/", {"state": "soon"})
    assert (refused.status_code, refused.json()["errors"][0]["parameter"]) == (400, "state")
