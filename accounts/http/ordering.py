"""Ordering of lists: by named fields only, and always down to a unique column."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import QuerySet
from rest_framework.filters import OrderingFilter
from rest_framework.request import Request

from accounts.http.faults import parameter_fault


class StrictOrderingFilter(OrderingFilter):
    """`?ordering=name,-created_at`; an unknown field is refused with the list of those there are."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        terms = self.get_ordering(request, queryset, view)
        return queryset.order_by(*ending_in_unique(queryset, terms)) if terms else queryset

    def remove_invalid_fields(
        self, queryset: QuerySet[Any], fields: Iterable[str], view: Any, request: Request
    ) -> list[str]:
        valid = orderable(view)
        for field in fields:
            if field.removeprefix("-") not in valid:
                raise parameter_fault(
                    self.ordering_param,
                    f"Lists here cannot be ordered by '{field[:80]}'; they can be ordered by "
                    f"{', '.join(valid) or 'nothing'}, each with or without a '-' before it.",
                )
        return list(fields)

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        valid = orderable(view)
        if not valid:
            return []
        return [
            {
                "name": self.ordering_param,
                "required": False,
                "in": "query",
                "description": f"Fields to order by, with commas between: {', '.join(valid)}. A '-' before a field "
                "reverses the order.",
                "schema": {"type": "string"},
            }
        ]


def orderable(view: Any) -> list[str]:
    """Name the fields a view's lists can be ordered by: those it declares, but for what the caller does not read."""
    unseen = view.unseen() if hasattr(view, "unseen") else frozenset()
    return [field for field in getattr(view, "ordering_fields", None) or [] if field not in unseen]


def ending_in_unique(queryset: QuerySet[Any], ordering: Sequence[Any]) -> list[Any]:
    """Add the key to an ordering that does not end in a unique column, so that a page is the same page twice."""
    terms = list(ordering)
    last = terms[-1].removeprefix("-") if terms and isinstance(terms[-1], str) else None
    if last in {"pk", queryset.model._meta.pk.name}:
        return terms
    return [*terms, "pk"]
