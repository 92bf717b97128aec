"""Viewsets of records that are retired where something refers to them, and deleted only where nothing does."""

from typing import Any, ClassVar, Final

from django.db.models import ProtectedError, QuerySet, RestrictedError
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.faults import RequestFault, RequestInvalid
from accounts.http.serializers import StrictSerializer
from accounts.http.viewsets import TenantViewSet
from accounts.services import retiring

RETIRED_FIELDS: Final = ("retired_at", "retired_by", "retired_reason")
_SHOWN: Final = ("no", "only", "also")


class RetireSerializer(StrictSerializer):
    """Why a record is taken out of use."""

    reason = serializers.CharField(max_length=200, help_text="why it is retired, such as 'shop closed'")


class RetireMixin(TenantViewSet, abstract=True):
    """Actions `retire` and `unretire`; lists leave out what is retired unless they are asked for it."""

    #: Called with `row`, `by`, `now` and, to retire, `reason`; a room whose plans follow gives its own.
    retire_service: ClassVar[Any] = staticmethod(retiring.retire)
    unretire_service: ClassVar[Any] = staticmethod(retiring.unretire)

    def known_parameters(self) -> dict[str, bool]:
        own = {"retired": False} if self.action == "list" else {}
        return super().known_parameters() | own

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        """Leave out of a list what is retired, unless it is asked for."""
        rows = super().filter_queryset(queryset)
        if self.action != "list":
            return rows
        shown = self.request.query_params.get("retired") or "no"
        if shown not in _SHOWN:
            sentence = f"retired must be one of: {', '.join(_SHOWN)}."
            raise RequestInvalid([RequestFault("parameter", "retired", sentence)])
        asks_itself = any(name.startswith("retired_on") for name in self.request.query_params)
        if shown == "also" or (shown == "no" and asks_itself):
            return rows
        retired = rows.model.is_retired_on(self.by.company.day_at(self.now))
        # By key: a NOT of a comparison with an empty day would be neither true nor false.
        keys = rows.model._base_manager.filter(retired, company=self.by.company_id).values("pk")
        return rows.filter(pk__in=keys) if shown == "only" else rows.exclude(pk__in=keys)

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "retired",
                str,
                enum=list(_SHOWN),
                description="whether retired ones are listed: no (as when left out), only those, or also those",
            )
        ]
    )
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        response: Response = super().list(request, *args, **kwargs)  # type: ignore[misc]
        return response

    def destroy(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Delete what nothing refers to; what something refers to is retired instead."""
        try:
            response: Response = super().destroy(request, *args, **kwargs)  # type: ignore[misc]
        except (ProtectedError, RestrictedError) as error:
            error.instead = f"Retire it: POST {request.path}retire/ with a reason."  # type: ignore[union-attr]
            raise
        return response

    @extend_schema(request=RetireSerializer)
    @action(detail=True, methods=["post"])
    def retire(self, request: Request, pk: str) -> Response:
        """Take it out of use: lists and plans leave it out, and what was done stays readable."""
        with self.transaction():
            row = self.locked_object()
            serializer = RetireSerializer(data=request.data, context=self.get_serializer_context())
            serializer.is_valid(raise_exception=True)
            self.retire_service(row=row, by=self.by, reason=serializer.validated_data["reason"], now=self.now)
            return self.answer(self.reread(row))

    @extend_schema(request=None)
    @action(detail=True, methods=["post"])
    def unretire(self, request: Request, pk: str) -> Response:
        """Take it back into use."""
        with self.transaction():
            row = self.locked_object()
            self.unretire_service(row=row, by=self.by, now=self.now)
            return self.answer(self.reread(row))
