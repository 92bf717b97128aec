"""Site pairs: sites whose visits belong together, or must be kept apart."""

from typing import Any

from rest_framework import serializers

from accounts.http.fields import TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import CreateMixin, DestroyMixin, ReadOnlyViewSet
from fleet.models import Site
from scheduling.models import SitePair
from scheduling.services.rounds.site_pairs import pair_sites


class SitePairSerializer(TenantModelSerializer):
    """Two sites, in the order of their ids, and what holds of their visits."""

    first_site_name = serializers.CharField(source="first_site.name", read_only=True)
    second_site_name = serializers.CharField(source="second_site.name", read_only=True)

    class Meta:
        model = SitePair
        fields = ["id", "first_site", "first_site_name", "second_site", "second_site_name", "rule", "note"]
        read_only_fields = fields


class SitePairInputSerializer(StrictSerializer):
    """A rule for two sites, in any order."""

    first_site = TenantRelatedField(queryset=Site.objects.all())
    second_site = TenantRelatedField(queryset=Site.objects.all())
    rule = serializers.ChoiceField(
        choices=SitePair.Rule.choices,
        help_text="together: by one installer, one straight after the other, when both are due; apart: not in a round",
    )
    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class SitePairViewSet(CreateMixin, DestroyMixin, ReadOnlyViewSet):
    """Rules for pairs of sites, kept by every plan; what was confirmed with a client stands before them."""

    resource = "site_pair"
    company_first = True
    queryset = SitePair.objects.select_related("first_site", "second_site")
    serializer_class = SitePairSerializer
    input_serializer_class = SitePairInputSerializer
    filterset_fields = {"first_site": ["exact"], "second_site": ["exact"], "rule": ["exact"]}
    ordering_fields = ["first_site", "second_site"]

    def perform_create(self, serializer: Any) -> SitePair:
        return pair_sites(by=self.by, now=self.now, **serializer.validated_data)
