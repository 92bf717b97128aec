"""Filters of lists: declared once, and strict about what they are given."""

from collections import OrderedDict
from collections.abc import Iterator
from copy import copy
from typing import Any, ClassVar, Final

import django_filters
from django.db import models
from django.db.models import QuerySet
from django.http import QueryDict
from django_filters.rest_framework import DjangoFilterBackend, FilterSet
from django_filters.utils import get_model_field
from rest_framework.request import Request

from accounts.http.faults import RequestFault, RequestInvalid
from accounts.http.wrong_values import refusal, shown, what_a_form_takes
from accounts.naming import NotNamedError, row_named


class RowFilter(django_filters.CharFilter):
    """Narrow to rows that refer to one row: digits are its id, anything else is its code or name in any case.

    The list is narrowed to the member's own rows before, so that another company's id, like one that never existed,
    finds nothing: a look-up of the id itself would tell the two apart. A code is looked up among the member's own rows,
    and one that is not there is a fault of the parameter.
    """

    def filter(self, queryset: Any, value: str) -> Any:
        if not value:
            return queryset
        parameter = next(name for name, declared in self.parent.filters.items() if declared is self)
        if value.isascii() and value.isdigit():
            if int(value) >= 2**63:
                raise RequestInvalid([RequestFault("parameter", parameter, f"{parameter}: no id is that long.")])
            return queryset.filter(**{self.field_name: int(value)})
        refers_to: Any = get_model_field(queryset.model, self.field_name)
        membership = getattr(self.parent.request, "membership", None)
        try:
            row = row_named(refers_to.related_model.objects.visible_to(membership), value)
        except NotNamedError as error:
            raise RequestInvalid([RequestFault("parameter", parameter, f"{parameter}: {error}")]) from None
        return queryset.filter(**{self.field_name: row.pk})


#: Endings that say how a value is compared, and what the library calls the comparison.
_ENDINGS: Final = {"gte": "_from", "lt": "_before", "lte": "_up_to", "icontains": "_contains"}
# Words that say little without the thing whose they are: `plan_state`.
_OF_SOMETHING: Final = frozenset({"state", "kind"})


def plain_name(name: str) -> str | None:
    """The name of a query parameter that follows the rule of all lists; None where the library's own name does.

    What is looked up through other rows has the name of what is meant (`site`, not `unit__site`), and an ending says
    how it is compared: `_from` (that or later), `_before`, `_up_to` (that or earlier), `_contains`.

    >>> [plain_name(name) for name in ("unit__site", "plan__state", "round__day__gte", "state", "removed_at__isnull")]
    ['site', 'plan_state', 'day_from', None, None]
    """
    *path, last = name.split("__")
    ending = _ENDINGS.get(last, "")
    if not ending:
        path.append(last)
    if not path or last in ("isnull", "in") or (len(path) == 1 and not ending):
        return None
    thing = "_".join(path[-2:]) if path[-1] in _OF_SOMETHING else path[-1]
    return f"{thing}{ending}"


class TenantFilterSet(FilterSet):
    """The base of every filterset; a foreign key is filtered by its id, or the code or name of its row.

    Parameters go by the rule of `plain_name`; the library's own names are understood too. A state may be given several
    times, and means any of them.
    """

    @classmethod
    def get_filters(cls) -> "OrderedDict[str, django_filters.Filter]":
        filters = super().get_filters()
        state = filters.get("state")
        if type(state) is django_filters.ChoiceFilter and state.lookup_expr == "exact":
            filters["state"] = django_filters.MultipleChoiceFilter(
                field_name=state.field_name, distinct=False, **state.extra
            )
        for name, declared in list(filters.items()):
            plain = plain_name(name)
            if plain is not None and plain not in filters:
                filters[plain] = copy(declared)
        return filters

    class Meta:
        filter_overrides = {
            models.ForeignKey: {"filter_class": RowFilter},
            models.OneToOneField: {"filter_class": RowFilter},
        }


class StrictFilterBackend(DjangoFilterBackend):
    """Applies a view's filters; a value a filter cannot read is a fault of that query parameter."""

    filterset_base = TenantFilterSet
    # Making a class takes longer than reading by it, and it is the same for everybody who asks.
    _made: ClassVar[dict[tuple[type, type | None], type[FilterSet] | None]] = {}

    def get_filterset_class(self, view: Any, queryset: QuerySet[Any] | None = None) -> type[FilterSet] | None:
        """The filters of a view's lists, made once."""
        key = type(view), None if queryset is None else queryset.model
        if key not in self._made:
            self._made[key] = super().get_filterset_class(view, queryset)
        return self._made[key]

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        filterset = self.get_filterset(request, queryset, view)
        if filterset is None:
            return queryset
        faults = list(_booleans(filterset, request.query_params))
        if not filterset.is_valid():
            faults += _unread(filterset)
        if faults:
            raise RequestInvalid(faults)
        return filterset.qs


def _booleans(filterset: FilterSet, parameters: QueryDict) -> Iterator[RequestFault]:
    """Find values of yes-or-no filters that are neither: the library would drop such a filter in silence."""
    for name, declared in filterset.filters.items():
        value = parameters.get(name)
        is_boolean = isinstance(declared, django_filters.BooleanFilter)
        if is_boolean and value is not None and value.lower() not in ("true", "false"):
            yield _fault(name, value, "true or false")


def _unread(filterset: FilterSet) -> Iterator[RequestFault]:
    for name, sentences in filterset.errors.items():
        right = what_a_form_takes(filterset.form.fields.get(name))
        if right is None:
            yield from (RequestFault("parameter", name, f"{name}: {sentence}") for sentence in sentences)
        else:
            yield _fault(name, ", ".join(filterset.data.getlist(name)), right)


def _fault(name: str, sent: str, right: str) -> RequestFault:
    return RequestFault("parameter", name, f"{name}: {refusal(shown(sent), right)}")


def filter_parameters(view: Any) -> dict[str, bool]:
    """Name the query parameters that the filters of a view read, and say of each whether it may be repeated."""
    backend = StrictFilterBackend()
    filterset_class = backend.get_filterset_class(view, getattr(view, "queryset", None))
    if filterset_class is None:
        return {}
    names: dict[str, bool] = {}
    for name, declared in filterset_class.base_filters.items():
        repeatable = isinstance(declared, django_filters.MultipleChoiceFilter)
        names.update(dict.fromkeys(_parameters(name, declared), repeatable))
    return names


def filter_columns(view: Any) -> dict[str, str]:
    """Name the query parameters that the filters of a view read, and the look-up of the column each narrows by."""
    filterset_class = StrictFilterBackend().get_filterset_class(view, getattr(view, "queryset", None))
    if filterset_class is None:
        return {}
    return {
        parameter: declared.field_name or name
        for name, declared in filterset_class.base_filters.items()
        for parameter in _parameters(name, declared)
    }


def _parameters(name: str, declared: django_filters.Filter) -> list[str]:
    suffixes = getattr(declared.field.widget, "suffixes", None)
    return [f"{name}_{suffix}" if suffix else name for suffix in suffixes or [""]]
