"""What needs attention, by kind, with the call that settles each matter."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import MomentField
from accounts.http.pagination import WorkedOutPagination
from accounts.http.serializers import AnswerSerializer
from accounts.http.viewsets import RetrieveMixin
from accounts.models import Company
from scheduling.api.parameters import ParametersSerializer
from scheduling.services.attention import needs_attention
from scheduling.services.matters import MOST_MATTERS, Kind, Matter, shown
from scheduling.services.words.attention import TITLES_OF_KINDS

KINDS = list(TITLES_OF_KINDS.items())


class SettleSerializer(AnswerSerializer):
    """The call that settles a matter."""

    words = serializers.CharField(help_text="what to do, in words")
    method = serializers.CharField(help_text="method of the call")
    path = serializers.CharField(help_text="path of the call on this server")
    body = serializers.DictField(child=serializers.CharField(), help_text="what of the body is known already")


class ReasonSerializer(AnswerSerializer):
    """One of the reasons why a visit, or a unit, needs attention."""

    kind = serializers.ChoiceField(choices=KINDS, help_text="code of its kind")
    title = serializers.CharField(help_text="what the kind is called")
    sentence = serializers.CharField(help_text="why it needs attention")
    unit = serializers.IntegerField(source="unit.pk", allow_null=True, default=None, help_text="id of the unit")
    unit_code = serializers.CharField(source="unit.code", allow_null=True, default=None, help_text="code of the unit")
    cost_of_waiting = serializers.FloatField(
        allow_null=True, help_text="money that a week of waiting is expected to cost; null where nobody can say"
    )
    probability = serializers.FloatField(
        allow_null=True, help_text="probability, 0 to 1, of what the sentence says; null where nobody can say"
    )
    day = serializers.DateField(allow_null=True, help_text="day by which, or on which, it happens")
    settle = SettleSerializer(help_text="the call that settles it")


class MatterSerializer(AnswerSerializer):
    """One visit, or one unit that no visit goes to, with all reasons why it needs attention."""

    sentence = serializers.CharField(help_text="why it needs attention: the sentences of all its reasons")
    reasons = ReasonSerializer(many=True, help_text="the reasons one by one, the gravest first")
    unit = serializers.IntegerField(
        source="unit.pk", allow_null=True, default=None, help_text="id of the unit of the gravest reason"
    )
    unit_code = serializers.CharField(
        source="unit.code", allow_null=True, default=None, help_text="code of the unit of the gravest reason"
    )
    site = serializers.IntegerField(source="site.pk", allow_null=True, default=None, help_text="id of the site")
    site_name = serializers.CharField(source="site.name", allow_null=True, default=None, help_text="name of the site")
    client = serializers.IntegerField(source="client.pk", allow_null=True, default=None, help_text="id of the client")
    client_name = serializers.CharField(
        source="client.name", allow_null=True, default=None, help_text="name of the client"
    )
    phone = serializers.CharField(source="client.phone", allow_null=True, default=None, help_text="number to call")
    visit = serializers.IntegerField(allow_null=True, help_text="id of the visit that it is about")
    cost_of_waiting = serializers.FloatField(
        allow_null=True,
        help_text="money that a week of waiting is expected to cost, all reasons together; null where nobody can say",
    )
    probability = serializers.FloatField(
        allow_null=True, help_text="probability, 0 to 1, of what the gravest reason says; null where nobody can say"
    )
    day = serializers.DateField(allow_null=True, help_text="day by which, or on which, the gravest happens")
    settle = SettleSerializer(help_text="the call that settles the gravest reason, and others that name the same call")


class AttentionKindSerializer(AnswerSerializer):
    """The matters whose gravest reason is of one kind, the dearest to leave first."""

    kind = serializers.ChoiceField(choices=KINDS, source="code", help_text="code of the kind")
    title = serializers.CharField(help_text="what the kind is called")
    count = serializers.SerializerMethodField(help_text="how many matters there are")
    dealt_with = serializers.IntegerField(
        help_text="how many more are tasks of a visit that is confirmed or under way, and need nobody's attention"
    )
    counted_above = serializers.IntegerField(
        help_text="how many reasons of this kind stand in matters of a graver kind, since they are about the same visit"
    )
    matters = MatterSerializer(
        source="first",
        many=True,
        help_text=f"the first {MOST_MATTERS} of them; all of them come page by page from attention/matters/",
    )

    def get_count(self, kind: Kind) -> int:
        """All of them, shown or not."""
        return len(kind.matters)


class AttentionSerializer(AnswerSerializer):
    """Everything that needs attention now."""

    as_of = MomentField(help_text="the moment it was looked at")
    by_kind = AttentionKindSerializer(many=True, help_text="all kinds, also those without a matter")


class MattersParameters(ParametersSerializer):
    """Which matters."""

    kind = serializers.ChoiceField(
        choices=KINDS, required=False, help_text="code of the only kind; left out: all kinds, the gravest first"
    )


class AttentionViewSet(RetrieveMixin):
    """What needs attention now: bad water, faults, units to read, missing parts, late deliveries, calls to make.

    A visit, or a unit that no visit goes to, is one matter with all its reasons, each with the call that settles it;
    it stands in the list of the gravest one, the dearest to leave first. Work that a confirmed visit has among its
    tasks is only counted. Here each kind comes with the first of its matters; `attention/matters/` has all of them.
    """

    resource = "attention"
    queryset = Company.objects.all()
    serializer_class = AttentionSerializer
    pagination_class = WorkedOutPagination

    def known_parameters(self) -> dict[str, bool]:
        if self.action != "list_matters":
            return {}
        return super().known_parameters() | dict.fromkeys(MattersParameters.names(), False)

    @extend_schema(parameters=[MattersParameters], responses=MatterSerializer(many=True), filters=False)
    def list_matters(self, request: Request) -> Response:
        """List what needs attention, matter by matter: kind by kind, the gravest first, and the dearest to leave first
        in each."""
        wanted = MattersParameters.read(self).get("kind")
        kinds = needs_attention(company=self.by.company, now=self.now)
        rows = [matter for kind in kinds if wanted in (None, kind.code) for matter in kind.matters]
        page: list[Matter] = self.paginate_queryset(rows) or []
        answered = MatterSerializer(shown(page), many=True, context=self.get_serializer_context())
        return self.get_paginated_response(answered.data)

    def get_object(self) -> dict[str, Any]:
        company = self.get_queryset().get()
        self.check_object_permissions(self.request, company)
        return {"as_of": self.now, "by_kind": needs_attention(company=company, now=self.now)}
