"""Pages of lists: numbered pages, and pages by cursor for what grows while one reads it."""

import base64
import binascii
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.core.exceptions import FieldDoesNotExist, ImproperlyConfigured, ValidationError
from django.core.paginator import InvalidPage
from django.db.models import Field, Q, QuerySet
from rest_framework.exceptions import NotFound
from rest_framework.pagination import BasePagination, PageNumberPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from accounts.http.faults import parameter_fault
from accounts.http.ordering import ending_in_unique

PAGE_SIZE = 50
LARGEST_PAGE = 500


def ordering_of(queryset: QuerySet[Any]) -> list[Any]:
    """Give the ordering of a queryset, ending in a unique column; refuse one without any."""
    if not queryset.ordered:
        raise ImproperlyConfigured(
            f"A list of {queryset.model._meta.verbose_name_plural} has no order: its pages would overlap."
        )
    terms = queryset.query.order_by or queryset.model._meta.ordering
    return ending_in_unique(queryset, terms)


def whole_number(request: Request, name: str, default: int, largest: int | None) -> int:
    """Read a whole number from 1 from the query string."""
    text = request.query_params.get(name)
    if text is None:
        return default
    limit = f" to {largest}" if largest is not None else ""
    if not (text.isascii() and text.isdigit() and len(text) < 10) or int(text) < 1:
        raise parameter_fault(name, f"{name} is '{text[:40]}': it must be a whole number from 1{limit}.")
    if largest is not None and int(text) > largest:
        raise parameter_fault(name, f"{name} is {text}: the most is {largest}.")
    return int(text)


_DESCRIPTIONS: Final = {
    "count": "rows on all pages together",
    "next": "address of the next page; null on the last one",
    "previous": "address of the page before; null on the first one",
    "results": "the rows of this page",
}


def _described(properties: Mapping[str, Any]) -> dict[str, Any]:
    """The members of a page in the OpenAPI document, each with what it is."""
    return {name: {**schema, "description": _DESCRIPTIONS[name]} for name, schema in properties.items()}


class PagePagination(PageNumberPagination):
    """`?page=2&page_size=100`, with the count of all rows; `?after=0` walks them all in the order of their ids.

    Numbered pages are for people: where the order changes while they are turned, a row may slip from a page to come
    onto one that was read. A walk loses none, since ids stay: whatever is there from its beginning to its end is read,
    and read once.
    """

    page_size = PAGE_SIZE
    page_size_query_param = "page_size"
    max_page_size = LARGEST_PAGE
    parameters: tuple[str, ...] = ("page", "page_size", "after")
    walked: "_Walked | None" = None

    def get_page_size(self, request: Request) -> int:
        return whole_number(request, "page_size", PAGE_SIZE, LARGEST_PAGE)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        page: dict[str, Any] = super().get_paginated_response_schema(schema)
        # The library says it of a link as OpenAPI 3.0 did.
        links = {name: {"type": ["string", "null"], "format": "uri"} for name in ("next", "previous")}
        return {**page, "properties": _described({**page["properties"], **links})}

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        self.request = request
        ordering = ordering_of(queryset)
        after = _walks_after(request)
        if after is not None:
            return self._walk(queryset, request, after)
        return self._numbered(queryset.order_by(*ordering), request)

    def _numbered(self, rows: Any, request: Request) -> list[Any]:
        number = whole_number(request, "page", 1, None)
        paginator = self.django_paginator_class(rows, self.get_page_size(request))
        try:
            self.page = paginator.page(number)
        except InvalidPage:
            raise NotFound(f"There is no page {number}: the last one is {paginator.num_pages}.") from None
        return list(self.page)

    def _walk(self, queryset: QuerySet[Any], request: Request, after: int) -> list[Any]:
        size = self.get_page_size(request)
        fetched = list(queryset.filter(pk__gt=after).order_by("pk")[: size + 1])
        page = fetched[:size]
        link = None
        if len(fetched) > size:
            link = str(replace_query_param(request.build_absolute_uri(), "after", page[-1].pk))
        self.walked = _Walked(queryset.count(), link)
        return page

    def get_paginated_response(self, data: Any) -> Response:
        if self.walked is None:
            return super().get_paginated_response(data)
        counted = {"count": self.walked.count, "next": self.walked.next_link, "previous": None}
        return Response({**counted, "results": data})

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        parameters: list[dict[str, Any]] = super().get_schema_operation_parameters(view)
        walk = {
            "name": "after",
            "in": "query",
            "required": False,
            "description": "Rows with a higher id, in the order of ids: begin with 0 and follow `next` to read every "
            "row once, also where their usual order changes meanwhile. Not with `page` or `ordering`.",
            "schema": {"type": "integer", "minimum": 0},
        }
        return [*parameters, walk]


class WorkedOutPagination(PagePagination):
    """`?page=2&page_size=100` of rows that are worked out when they are asked for, in an order of their own.

    They are no rows of a table and have no ids to walk along.
    """

    parameters = ("page", "page_size")

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        self.request = request
        return self._numbered(queryset, request)

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        return [one for one in super().get_schema_operation_parameters(view) if one["name"] in self.parameters]


@dataclass(frozen=True, slots=True)
class _Walked:
    """How many rows a walk has in all, and where it goes on; None at its end."""

    count: int
    next_link: str | None


def _walks_after(request: Request) -> int | None:
    """The id behind which a walk goes on; None for numbered pages."""
    text = request.query_params.get("after")
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise parameter_fault("after", f"after is '{text[:40]}': it must be the id of a row, or 0 to begin.")
    for name in ("page", "ordering"):
        if name in request.query_params:
            raise parameter_fault(name, f"{name} does not go with after, which reads rows in the order of their ids.")
    return int(text)


class CursorPagination(BasePagination):
    """`?cursor=...`: each page begins after the last row of the one before, however many rows came in between.

    The cursor holds the values of every ordering column of that row. Rows that share the first value, such as readings
    that many meters take on the hour, are told apart by the others; the last one is unique.
    """

    page_size = PAGE_SIZE
    parameters = ("cursor", "page_size")

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        self.request = request
        size = whole_number(request, "page_size", self.page_size, LARGEST_PAGE)
        terms = ordering_of(queryset)
        backwards, values = self._decode(queryset, terms, request.query_params.get("cursor"))
        walk = [_turned(term) for term in terms] if backwards else terms
        rows = queryset.order_by(*walk)
        if values is not None:
            rows = rows.filter(_beyond(walk, values))
        fetched = list(rows[: size + 1])
        more, page = len(fetched) > size, fetched[:size]
        if backwards:
            page.reverse()
        has_next = (bool(page) and backwards) or more
        has_previous = more if backwards else values is not None
        self.next_link = self._link("n", page[-1], terms) if page and has_next else None
        self.previous_link = self._link("p", page[0], terms) if page and has_previous else None
        return page

    def get_paginated_response(self, data: Any) -> Response:
        return Response({"next": self.next_link, "previous": self.previous_link, "results": data})

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        link = {"type": ["string", "null"], "format": "uri"}
        properties = {"next": link, "previous": link, "results": schema}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": _described(properties),
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        return [
            {
                "name": "cursor",
                "in": "query",
                "required": False,
                "description": "Where to go on, from the `next` or `previous` of a page.",
                "schema": {"type": "string"},
            },
            {
                "name": "page_size",
                "in": "query",
                "required": False,
                "description": f"Rows on a page, 1 to {LARGEST_PAGE}.",
                "schema": {"type": "integer", "minimum": 1, "maximum": LARGEST_PAGE},
            },
        ]

    def _link(self, direction: str, row: Any, terms: Sequence[str]) -> str:
        values = [direction]
        for term in terms:
            value: Any = row
            for part in _path(term, row):
                value = getattr(value, part)
            field = _field(type(row), term)
            if value is None:
                raise ImproperlyConfigured(f"A list paged by cursor cannot be ordered by '{term}': it can be empty.")
            # DateTimeField's own text form drops fractions that the column keeps.
            values.append(value.isoformat() if hasattr(value, "isoformat") else str(field.get_prep_value(value)))
        cursor = base64.urlsafe_b64encode(json.dumps(values).encode()).decode().rstrip("=")
        return str(replace_query_param(self.request.build_absolute_uri(), "cursor", cursor))

    def _decode(self, queryset: QuerySet[Any], terms: Sequence[str], text: str | None) -> tuple[bool, list[Any] | None]:
        if text is None:
            return False, None
        try:
            padded = text.encode("ascii") + b"=" * (-len(text) % 4)
            direction, *values = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
            if direction not in ("n", "p") or len(values) != len(terms):
                raise ValueError("another list's cursor")
            return direction == "p", [
                _read(_field(queryset.model, term), value) for term, value in zip(terms, values, strict=True)
            ]
        except (ValueError, TypeError, OverflowError, RecursionError, binascii.Error, ValidationError):
            raise parameter_fault(
                "cursor",
                "This cursor does not belong to this list and order: begin without one and follow `next`.",
            ) from None


def _read(field: "Field[Any, Any]", text: Any) -> Any:
    if not isinstance(text, str) or "\x00" in text:
        raise ValueError("not a value of a cursor")
    value = field.to_python(text)
    if value is None:
        raise ValueError("empty")
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 2**63:
        raise ValueError("too large")
    if getattr(value, "tzinfo", True) is None:
        raise ValueError("no offset")
    return value


def _field(model: Any, term: str) -> "Field[Any, Any]":
    name = term.removeprefix("-")
    field = None
    for part in name.split("__"):
        try:
            field = model._meta.pk if part == "pk" else model._meta.get_field(part)
        except FieldDoesNotExist:
            raise ImproperlyConfigured(f"A list paged by cursor cannot be ordered by '{term}'.") from None
        if field.is_relation:
            model = field.related_model
    assert field is not None
    return field.target_field if field.is_relation else field


def _path(term: str, row: Any) -> list[str]:
    """Give the attributes that lead from a row to its value for an ordering term."""
    name = term.removeprefix("-")
    if "__" not in name and name != "pk":
        return [row._meta.get_field(name).attname]
    return name.split("__")


def _turned(term: str) -> str:
    return term.removeprefix("-") if term.startswith("-") else f"-{term}"


def _beyond(terms: Sequence[str], values: Sequence[Any]) -> Q:
    """Select the rows that come after the given values: (a > x) or (a = x and b > y) or ..."""
    condition = Q()
    equal = Q()
    for term, value in zip(terms, values, strict=True):
        name = term.removeprefix("-")
        step = "lt" if term.startswith("-") else "gt"
        condition |= equal & Q(**{f"{name}__{step}": value})
        equal &= Q(**{name: value})
    # The index on the first column serves this plain bound; it cannot serve the alternatives above.
    first = terms[0].removeprefix("-")
    bound = "lte" if terms[0].startswith("-") else "gte"
    return Q(**{f"{first}__{bound}": values[0]}) & condition
