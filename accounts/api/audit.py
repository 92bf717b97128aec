"""The trail of what was done, for the owner."""

from typing import Any

import django_filters
from django.db.models import Q
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from accounts.http.filters import TenantFilterSet
from accounts.http.pagination import CursorPagination
from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from accounts.models import AuditEntry
from accounts.services.trail_words import sentence_of


@extend_schema_field(
    {
        "type": "object",
        "additionalProperties": {
            "anyOf": [
                {"type": ["string", "number", "boolean", "null"]},
                {"type": "array", "items": {"type": ["string", "number"]}},
                {
                    "type": "object",
                    "description": "of 'changes': each changed field with its old and new value",
                    "additionalProperties": {
                        "type": ["object", "array", "string", "number", "boolean", "null"],
                        "items": {"type": ["object", "string", "number", "boolean", "null"]},
                    },
                },
            ]
        },
    }
)
class DetailsField(serializers.DictField):
    """What was noted, by name: single values and lists of them."""


class AuditEntrySerializer(TenantModelSerializer):
    """Who did what to which thing, and when."""

    by = serializers.CharField(
        source="membership.user.email",
        read_only=True,
        allow_null=True,
        help_text="e-mail address of the person who did it; null when the person is gone",
    )
    details = DetailsField(read_only=True, help_text="what a later reader needs, such as old and new values")

    sentence = serializers.SerializerMethodField(help_text="what happened, in words")

    class Meta:
        model = AuditEntry
        fields = [
            "id",
            "at",
            "membership",
            "by",
            "action",
            "subject_kind",
            "subject_id",
            "subject_name",
            "sentence",
            "details",
        ]
        read_only_fields = fields

    def get_sentence(self, entry: AuditEntry) -> str:
        """Who did what to which thing, with old and new values."""
        return sentence_of(entry)


class AuditEntryFilters(TenantFilterSet):
    """Narrow the trail."""

    since = django_filters.IsoDateTimeFilter(field_name="at", lookup_expr="gte", help_text="at this moment or later")
    until = django_filters.IsoDateTimeFilter(field_name="at", lookup_expr="lt", help_text="before this moment")

    about = django_filters.CharFilter(
        method="of_thing", help_text="code or name of the thing, such as 'S02-1', with its cartridges and readings"
    )
    did = django_filters.CharFilter(
        field_name="action", lookup_expr="istartswith", help_text="how the action begins, such as 'update'"
    )

    def of_thing(self, rows: Any, _: str, value: str) -> Any:
        """Entries about a thing, and about what belongs to it."""
        return rows.filter(Q(subject_name__iexact=value) | Q(subject_name__istartswith=f"{value},"))

    class Meta(TenantFilterSet.Meta):
        model = AuditEntry
        fields = ["membership", "action", "subject_kind", "subject_id"]


class AuditEntryViewSet(ReadOnlyViewSet):
    """The trail of what was done, newest first."""

    resource = "audit_entry"
    queryset = AuditEntry.objects.select_related("membership__user")
    serializer_class = AuditEntrySerializer
    filterset_class = AuditEntryFilters
    pagination_class = CursorPagination
