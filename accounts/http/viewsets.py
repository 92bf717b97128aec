"""The base of every viewset: whose rows, which actions, and the same manners everywhere.

A viewset of a room is a declaration:

    class UnitViewSet(ReadWriteViewSet):
        resource = "unit"                       # its rows in the table of accounts.permissions
        queryset = Unit.objects.select_related("site")
        serializer_class = UnitSerializer
        filterset_fields = ["site", "use", "kind"]
        ordering_fields = ["code", "created_at"]

        def perform_create(self, serializer):
            return services.units.add(by=self.by, now=self.now, **serializer.validated_data)

`perform_create`, `perform_update` and `perform_destroy` are where a service is called; they return the row. Each runs
in one transaction with the check of `If-Match` before and the re-reading of the row after it, so a service called from
here must not ask for a durable transaction of its own. A viewset whose POST must commit before it answers, such as one
that starts a job, sets `one_transaction = False`.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import datetime
from typing import Any, ClassVar

from django.core.exceptions import ImproperlyConfigured
from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from rest_framework.exceptions import APIException
from rest_framework.generics import get_object_or_404
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.viewsets import GenericViewSet

from accounts import permissions
from accounts.errors import DomainError, Fault, InvalidInput
from accounts.http import idempotency
from accounts.http.etags import check_if_match, etag_of, etag_of_bytes, is_known
from accounts.http.faults import InvalidBodyError
from accounts.http.filters import filter_columns, filter_parameters
from accounts.http.ordering import orderable
from accounts.http.pagination import WorkedOutPagination
from accounts.http.permissions import action_name
from accounts.http.renderers import Written
from accounts.http.search import PARAMETER as SEARCH
from accounts.http.search import searchable
from accounts.http.throttles import spend, tell_budget
from accounts.http.views import check_query_parameters
from accounts.models import Membership
from accounts.services import record
from accounts.services.companies import lock_company
from accounts.tenancy import TenantQuerySet


class _NotMeant(Exception):  # noqa: N818 - no error, but the way out of a transaction that is taken back
    """What was done to find faults is taken back."""


class TenantViewSet(GenericViewSet[Any]):
    """Rows of one tenant model, seen and changed through one membership.

    Class attributes: `resource` (required), `queryset`, `serializer_class`, `input_serializer_class` (when what is sent
    differs from what is answered), `query_parameters` (further query parameters every action reads), `filterset_fields`
    or `filterset_class`, `ordering_fields`, `search_fields`, `pagination_class`, `one_transaction`, `keeps_answers`,
    `audited`, `company_first` (where a service that changes a row takes the company's lock).
    """

    resource: ClassVar[str] = ""
    input_serializer_class: ClassVar[type[BaseSerializer[Any]] | None] = None
    query_parameters: ClassVar[Sequence[str]] = ()
    one_transaction: ClassVar[bool] = True
    # Answers that hold a secret are never stored, so those viewsets take no Idempotency-Key.
    keeps_answers: ClassVar[bool] = True
    audited: ClassVar[bool] = True
    # Two who lock a row and its company in different orders wait for one another for ever.
    company_first: ClassVar[bool] = False
    # Serializer and role to what `unseen` found out: their fields and who reads them are the same for every request.
    _unseen: ClassVar[dict[tuple[type[BaseSerializer[Any]], str], frozenset[str]]] = {}
    # A row is changed by PATCH alone: a PUT would have to name what the caller does not know of.
    http_method_names = ["get", "head", "post", "patch", "delete"]
    # Longer numbers are no id of any database; they are an address that does not exist.
    lookup_value_regex = "[0-9]{1,18}"

    request: Request
    queryset: QuerySet[Any] | None
    post: Callable[..., Any]

    def __init_subclass__(cls, *, abstract: bool = False, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        if not abstract and not cls.resource:
            raise ImproperlyConfigured(f"{cls.__name__} declares no resource: nobody could say who may use it.")

    @classmethod
    def as_view(cls, actions: Any = None, **initkwargs: Any) -> Any:
        for action in (actions or {}).values():
            if (cls.resource, action_name(action)) not in permissions.ALLOWED:
                raise ImproperlyConfigured(
                    f"{cls.__name__}.{action} has no row ({cls.resource!r}, {action_name(action)!r}) in "
                    "accounts.permissions.ALLOWED: nobody could say who may use it."
                )
        return super().as_view(actions, **initkwargs)

    @property
    def by(self) -> Membership:
        """The membership the request acts for; services take it as `by`."""
        membership: Membership = self.request.membership  # type: ignore[attr-defined]
        return membership

    @property
    def now(self) -> datetime:
        """The moment the request came; services take it as `now`."""
        now: datetime = self.request.now  # type: ignore[attr-defined]
        return now

    def initialize_request(self, request: Any, *args: Any, **kwargs: Any) -> Request:
        wrapped = super().initialize_request(request, *args, **kwargs)
        wrapped.now = timezone.now()  # type: ignore[attr-defined]
        wrapped.membership = None  # type: ignore[attr-defined]
        return wrapped

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Let no cache on the way keep what was answered to one member."""
        answered = super().finalize_response(request, response, *args, **kwargs)
        answered.headers.setdefault("Cache-Control", "no-store")
        tell_budget(request, answered)
        return answered

    def perform_authentication(self, request: Request) -> None:
        """Find out who asks, and count it against what they may ask for in a minute."""
        super().perform_authentication(request)
        spend(request)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self.check_query_parameters(request)
        if request.method == "POST":
            # The router binds handlers to the instance in the same way.
            self.post = idempotency.once(self, self.post)

    def check_query_parameters(self, request: Request) -> None:
        """Refuse query parameters before anything is done; a viewset with its own adds the check of their values."""
        check_query_parameters(request, self.known_parameters())

    def known_parameters(self) -> dict[str, bool]:
        """Name the query parameters this action reads, and say of each whether it may be repeated."""
        may_repeat = dict.fromkeys(self.query_parameters, False)
        if self.action == "list":
            unseen = self.unseen_filters()
            may_repeat |= {name: many for name, many in filter_parameters(self).items() if name not in unseen}
            may_repeat |= dict.fromkeys(getattr(self.pagination_class, "parameters", ()), False)
            if orderable(self):
                may_repeat["ordering"] = False
            if searchable(self):
                may_repeat[SEARCH] = False
        elif isinstance(self.paginator, WorkedOutPagination):
            may_repeat |= dict.fromkeys(self.paginator.parameters, False)
        return may_repeat

    def unseen(self) -> frozenset[str]:
        """Name the fields of this viewset's answers that the caller does not read, and the columns behind them.

        Lists are neither filtered nor ordered by them: that would tell their values one question at a time.
        """
        membership = getattr(getattr(self, "request", None), "membership", None)
        if membership is None:
            return frozenset()
        key = self.get_serializer_class(), membership.role
        if key not in self._unseen:
            serializer: Any = self.get_serializer()
            hidden: frozenset[str] = getattr(serializer, "hidden", frozenset())
            self._unseen[key] = hidden | {
                (serializer.fields[name].source or name).replace(".", "__") for name in hidden
            }
        return self._unseen[key]

    def unseen_filters(self) -> frozenset[str]:
        """Name the query parameters that would narrow a list by what the caller does not read."""
        unseen = self.unseen()
        return frozenset(
            parameter
            for parameter, column in filter_columns(self).items()
            if column in unseen or column.split("__")[0] in unseen
        )

    def get_queryset(self) -> QuerySet[Any]:
        """Give the rows the acting membership may see."""
        if self.queryset is None:
            raise ImproperlyConfigured(f"{type(self).__name__} declares no queryset.")
        queryset = self.queryset.all()
        if not isinstance(queryset, TenantQuerySet):
            raise ImproperlyConfigured(
                f"The rows of {type(self).__name__} are not a tenant's: they cannot be narrowed."
            )
        if getattr(self, "swagger_fake_view", False):
            return queryset.none()
        return queryset.visible_to(self.by)

    def get_serializer_context(self) -> dict[str, Any]:
        return {
            **super().get_serializer_context(),
            "membership": getattr(self.request, "membership", None),
            "now": getattr(self.request, "now", None),
        }

    def get_input_serializer(self, *args: Any, **kwargs: Any) -> BaseSerializer[Any]:
        """Build the serializer that reads what was sent."""
        serializer_class = self.input_serializer_class or self.get_serializer_class()
        kwargs.setdefault("context", self.get_serializer_context())
        return serializer_class(*args, **kwargs)

    def valid_input(self, instance: Any = None, **kwargs: Any) -> BaseSerializer[Any]:
        """Read the body and refuse it with every fault; for custom actions too."""
        serializer = self.get_input_serializer(instance, data=self.request.data, **kwargs)
        serializer.is_valid(raise_exception=True)
        return serializer

    def input_for(
        self, perform: Callable[[BaseSerializer[Any]], Any], instance: Any = None, **kwargs: Any
    ) -> BaseSerializer[Any]:
        """Read the body for a service; where fields cannot be read, say too what the service finds in the others."""
        serializer = self.get_input_serializer(instance, data=self.request.data, **kwargs)
        if not serializer.is_valid():
            raise InvalidBodyError(
                serializer.errors, self._faults_of_the_rest(perform, serializer.errors, instance, kwargs)
            )
        return serializer

    def _faults_of_the_rest(
        self,
        perform: Callable[[BaseSerializer[Any]], Any],
        unreadable: Any,
        instance: Any,
        kwargs: dict[str, Any],
    ) -> list[Fault]:
        """Do without the fields at fault what was asked, take it back, and give the faults that were found so.

        Left out is what speaks of a field that is missing only here.
        """
        data = self.request.data
        if not self.one_transaction or not isinstance(data, Mapping) or not isinstance(unreadable, Mapping):
            return []
        rest = {name: value for name, value in data.items() if name not in unreadable}
        again = self.get_input_serializer(instance, data=rest, **kwargs)
        if not rest or not again.is_valid():
            return []
        try:
            with transaction.atomic():
                perform(again)
                raise _NotMeant
        except InvalidInput as error:
            return [
                fault
                for fault in error.faults
                if fault.pointer.split("/")[1:2] and fault.pointer.split("/")[1] in rest
                if not any(str(name) in fault.sentence for name in unreadable)
            ]
        except (DomainError, _NotMeant, Http404, APIException, IntegrityError, DjangoValidationError):
            return []

    def transaction(self) -> AbstractContextManager[Any]:
        """Open the transaction a write runs in, unless the viewset must commit before it answers."""
        return transaction.atomic() if self.one_transaction else nullcontext()

    def reread(self, instance: models.Model) -> Any:
        """Fetch a row again as the acting member sees it; a row written out of one's own sight is taken back."""
        row = self.get_queryset().filter(pk=instance.pk).first()
        if row is None:
            raise Http404
        return row

    def answer(self, instance: Any, status: int = 200, headers: dict[str, str] | None = None) -> Response:
        """Answer with one thing and its ETag."""
        data = self.get_serializer(instance).data
        written = JSONRenderer().render(data)
        response = Response(data, status=status, headers={"ETag": etag_of_bytes(written), **(headers or {})})
        # the renderer sends it as it is, and does not write a large answer a second time
        response.written = Written(data, written)  # type: ignore[attr-defined]
        return response

    def page_of(self, rows: Sequence[Any], serializer: type[BaseSerializer[Any]]) -> Response:
        """Answer with a page of what was worked out, for an action paged by `WorkedOutPagination`."""
        page: Any = self.paginator.paginate_queryset(rows, self.request, view=self)  # type: ignore[union-attr]
        return self.get_paginated_response(serializer(page, many=True, context=self.get_serializer_context()).data)

    def key_of_address(self) -> tuple[type[models.Model], Any]:
        """Find which row of which model the address means, without what is read beside a row to answer with it."""
        name = self.lookup_url_kwarg or self.lookup_field
        if name not in self.kwargs:
            row = self.get_object()
            return type(row), row.pk
        rows = self.filter_queryset(self.get_queryset())
        keys = rows.select_related(None).prefetch_related(None).values_list("pk", flat=True)
        return rows.model, get_object_or_404(keys, **{self.lookup_field: self.kwargs[name]})

    def locked_object(self) -> Any:
        """Fetch the row of the address, locked until the end of the transaction, and check `If-Match` against it."""
        if self.company_first:
            lock_company(self.by.company_id)
        model, key = self.key_of_address()
        # The lock is taken on the bare row: PostgreSQL refuses to lock through outer joins and groupings.
        list(model._base_manager.select_for_update().filter(pk=key).values_list("pk"))
        current = self.get_object()
        if "If-Match" in self.request.headers:
            check_if_match(self.request, etag_of(self.get_serializer(current).data))
        return current

    def note(self, action: str, subject: models.Model, details: dict[str, Any] | None = None) -> None:
        """Leave an audit entry, for writes that have no service to do so."""
        if self.audited:
            record(by=self.by, action=f"{action} {self.resource}", subject=subject, details=details or {}, now=self.now)


class ListMixin(TenantViewSet, abstract=True):
    """GET of the list."""

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        queryset = self.filter_queryset(self.get_queryset())
        page = self.paginate_queryset(queryset)
        rows = page if page is not None else queryset
        data = self.get_serializer(rows, many=True).data
        return self.get_paginated_response(data) if page is not None else Response(data)


class RetrieveMixin(TenantViewSet, abstract=True):
    """GET of one row."""

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        response = self.answer(self.get_object())
        if is_known(request, response.headers["ETag"]):
            return Response(status=304, headers={"ETag": response.headers["ETag"]})
        return response


class CreateMixin(TenantViewSet, abstract=True):
    """POST to the list."""

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        serializer = self.input_for(self.perform_create)
        with self.transaction():
            instance = self.perform_create(serializer)
            response = self.answer(self.reread(instance), status=201)
        if isinstance(response.data, dict) and "id" in response.data:
            response.headers["Location"] = f"{request.path.rstrip('/')}/{response.data['id']}/"
        return response

    def perform_create(self, serializer: BaseSerializer[Any]) -> Any:
        """Store one row; a viewset with more to do calls its service here instead and returns the row."""
        model = serializer.Meta.model  # type: ignore[attr-defined]
        own = {field.name for field in model._meta.concrete_fields}
        implied = {"company": self.by.company} if "company" in own else {}
        instance = serializer.save(**implied)
        self.note("create", instance)
        return instance


class UpdateMixin(TenantViewSet, abstract=True):
    """PATCH of one row."""

    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        with self.transaction():
            instance = self.locked_object()
            serializer = self.input_for(self.perform_update, instance, partial=True)
            written = self.perform_update(serializer)
            return self.answer(self.reread(written if written is not None else instance))

    def perform_update(self, serializer: BaseSerializer[Any]) -> Any:
        """Change one row; a viewset with more to do calls its service here instead and returns the row."""
        changed = sorted(serializer.validated_data)
        instance = serializer.save()
        if changed:
            self.note("update", instance, {"fields": changed})
        return instance


class DestroyMixin(TenantViewSet, abstract=True):
    """DELETE of one row."""

    def destroy(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        with self.transaction():
            self.perform_destroy(self.locked_object())
        return Response(status=204)

    def perform_destroy(self, instance: Any) -> None:
        """Delete one row; a viewset with more to do calls its service here instead."""
        self.note("delete", instance, {"name": str(instance)[:200]})
        instance.delete()


class ReadOnlyViewSet(ListMixin, RetrieveMixin, abstract=True):
    """List and single rows."""


class ReadCreateViewSet(CreateMixin, ReadOnlyViewSet, abstract=True):
    """Rows that are added but never changed, such as readings."""


class ReadWriteViewSet(CreateMixin, UpdateMixin, DestroyMixin, ReadOnlyViewSet, abstract=True):
    """Everything."""
