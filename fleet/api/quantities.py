"""Quantities at the border of the API: any unit of the right dimension in, the caller's system out."""

from collections.abc import Mapping
from typing import Any, Final

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.plumbing import ResolvedComponent
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from accounts.http.faults import parameter_fault
from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import TenantViewSet
from accounts.http.wrong_values import refusal
from accounts.http.wrong_values import shown as sent_as
from fleet.engineering.errors import EngineeringError
from fleet.engineering.units import QUANTITY_KINDS, SYSTEMS, Kind, accepted_forms, parse_quantity, to_display
from fleet.intake.names import public_name


class QuantityField(serializers.Field):
    """A number with a unit.

    Read as text (`"60 psi"`) or as an object (`{"value": 60, "unit": "psi"}`) in any unit of the right dimension;
    answered as an object in the caller's system. Inside it is a float in the stored unit.
    """

    def what_it_takes(self) -> str:
        """What is sent, for a refusal."""
        return f"{accepted_forms(self.kind)}, or an object with 'value' and 'unit'"

    def __init__(self, kind: "Kind | str", **kwargs: Any) -> None:
        self.kind = QUANTITY_KINDS[kind] if isinstance(kind, str) else kind
        super().__init__(**kwargs)

    def __deepcopy__(self, memo: Any) -> "QuantityField":
        # A kind holds read-only mappings, which cannot be copied and need not be.
        arguments: dict[str, Any] = self._kwargs  # type: ignore[attr-defined]
        return type(self)(self.kind, **{name: value for name, value in arguments.items() if name != "kind"})

    def to_internal_value(self, data: Any) -> float:
        """Read the stored value from what was sent."""
        if not isinstance(data, str | Mapping) or (isinstance(data, str) and len(data) > 80):
            raise serializers.ValidationError(refusal(sent_as(data), self.what_it_takes()))
        try:
            return parse_quantity(data, self.kind, field=self.field_name or "quantity")
        except EngineeringError as error:
            raise serializers.ValidationError(error.sentence) from None

    def to_representation(self, value: float) -> dict[str, Any]:
        """Show a stored value in the caller's system."""
        return shown(value, self.kind, unit_system_of(self.context))


def shown(value: float, kind: "Kind | str", system: str) -> dict[str, Any]:
    """A stored value as the API answers it."""
    number, unit = to_display(value, kind, system)
    return {"value": number, "unit": unit}


def unit_system_of(context: Mapping[str, Any]) -> str:
    """The system the caller wants, else that of the company."""
    chosen = context.get("unit_system")
    if chosen:
        return str(chosen)
    membership = context.get("membership")
    return str(membership.company.unit_system) if membership is not None else "metric"


class QuantityModelSerializer(TenantModelSerializer):
    """A model serializer that shows columns with a unit under their public name, as quantities.

    `Meta.quantities` names the columns: those of `QUANTITY_KINDS`, or a mapping of column to kind.
    """

    @property
    def always_readable(self) -> frozenset[str]:  # type: ignore[override]
        """Whoever sees the row reads what was measured."""
        return frozenset(public_name(column) for column in self.Meta.quantities)

    def get_fields(self) -> dict[str, Any]:
        """Add a field for each quantity, as required or empty as its column is."""
        fields = super().get_fields()
        quantities = self.Meta.quantities
        kinds = (
            quantities if isinstance(quantities, Mapping) else {column: QUANTITY_KINDS[column] for column in quantities}
        )
        own = {field.name: field for field in self.Meta.model._meta.concrete_fields}  # type: ignore[attr-defined]
        for column, kind in kinds.items():
            name = public_name(column)
            source = {} if name == column else {"source": column}
            optional = own[column].null or own[column].has_default()
            fields[name] = QuantityField(
                kind,
                required=not optional,
                allow_null=own[column].null,
                help_text=own[column].help_text or None,
                **source,
            )
        return fields


@extend_schema(
    parameters=[
        OpenApiParameter(
            "units",
            OpenApiTypes.STR,
            enum=list(SYSTEMS),
            description="System of the quantities in the answer; that of the company when left out.",
        )
    ]
)
class QuantityViewSet(TenantViewSet, abstract=True):
    """A viewset whose answers hold quantities: `?units=us` or `?units=metric` chooses their system."""

    query_parameters = ("units",)

    def get_serializer_context(self) -> dict[str, Any]:
        """Add the system the caller asked for."""
        context = super().get_serializer_context()
        context["unit_system"] = getattr(getattr(self, "request", None), "query_params", {}).get("units")
        return context

    def check_query_parameters(self, request: Request) -> None:
        """Refuse an unknown system before anything is done."""
        super().check_query_parameters(request)
        system_name = request.query_params.get("units")
        if system_name is not None and system_name not in SYSTEMS:
            raise parameter_fault("units", f"units is '{system_name[:40]}': it must be one of {', '.join(SYSTEMS)}.")


class QuantityFieldSchema(OpenApiSerializerFieldExtension):
    """How a quantity looks in the OpenAPI description."""

    target_class = QuantityField

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        """Describe what is sent and what is answered; they differ."""
        name, schema = ("QuantitySent", _SENT) if direction == "request" else ("Quantity", _ANSWERED)
        component = ResolvedComponent(name=name, type=ResolvedComponent.SCHEMA, schema=schema, object=name)
        auto_schema.registry.register_on_missing(component)
        return dict(component.ref)


VALUE: Final = {"type": "number", "description": "the number, in the unit beside it"}
UNIT: Final = {"type": "string", "description": "unit of measure, such as psi; empty where there is no dimension"}

_ANSWERED = {
    "type": "object",
    "description": "A number with its unit, in the system chosen by ?units= or that of the company.",
    "required": ["value", "unit"],
    "properties": {"value": VALUE, "unit": UNIT},
}
_SENT = {
    "description": "A number with a unit of the right dimension; a bare number only where there is no dimension.",
    "oneOf": [
        {"type": "string", "example": "60 psi"},
        {
            "type": "object",
            "required": ["value"],
            "properties": {
                "value": {
                    "description": "the number, or its digits as text",
                    "oneOf": [{"type": "number"}, {"type": "string"}],
                },
                "unit": UNIT,
            },
            "additionalProperties": False,
        },
        {"type": "number", "description": "only for quantities without a dimension, such as a pH"},
    ],
}
