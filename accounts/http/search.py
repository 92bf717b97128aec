"""Search of lists: every word that is sent must stand in one of the columns that a viewset declares."""

from typing import Any, Final

from django.db.models import QuerySet
from rest_framework.exceptions import ValidationError
from rest_framework.filters import SearchFilter
from rest_framework.request import Request

from accounts.http.faults import parameter_fault
from accounts.http.requests import membership_of
from accounts.tenancy import known_to

PARAMETER: Final = "search"
# Each word is one more condition on each column.
_MOST_WORDS: Final = 10


class StrictSearchFilter(SearchFilter):
    """`?search=quay 555`; columns that the caller does not read are not searched."""

    search_param = PARAMETER

    def get_search_fields(self, view: Any, request: Request) -> list[str]:
        return searchable(view)

    def get_search_terms(self, request: Request) -> list[str]:
        try:
            terms = super().get_search_terms(request)
        except ValidationError as error:
            raise parameter_fault(PARAMETER, f"search: {' '.join(map(str, error.detail))}") from None
        if len(terms) > _MOST_WORDS:
            raise parameter_fault(
                PARAMETER,
                f"search has {len(terms)} words: give at most {_MOST_WORDS}, or put what belongs together in quotes.",
            )
        return list(terms)

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        if PARAMETER not in request.query_params or not searchable(view):
            return queryset
        return super().filter_queryset(request, queryset, view)

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        columns = searchable(view)
        if not columns:
            return []
        return [
            {
                "name": PARAMETER,
                "required": False,
                "in": "query",
                "description": "Words to look for, in any case and order; each must stand in one of: "
                f"{', '.join(column.replace('__', ' ') for column in columns)}.",
                "schema": {"type": "string"},
            }
        ]


def searchable(view: Any) -> list[str]:
    """Name the columns a view's lists are searched by: those it declares, but for what the caller does not read."""
    unseen = view.unseen() if hasattr(view, "unseen") else frozenset()
    columns = getattr(view, "search_fields", None) or []
    if known_to(membership_of(getattr(view, "request", None))) is not None:
        # The names of clients whom an installer does not know are not tried out by way of their sites.
        columns = [column for column in columns if "client__" not in column]
    return [column for column in columns if column not in unseen and column.split("__")[0] not in unseen]
