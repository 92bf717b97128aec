"""What can be fitted, and the small things a piece of work needs beside it."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from accounts.http.retiring import RETIRED_FIELDS, RetireMixin
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from fleet.api.quantities import QuantityModelSerializer, QuantityViewSet
from fleet.engineering.purposes import KINDS_WITH_PURPOSE
from fleet.engineering.usual_labels import LABEL_ATTRIBUTES
from fleet.intake.names import public_name
from fleet.models import CatalogueItem, PartsRule
from fleet.services import retiring
from fleet.services.catalogue import complete_label, update_item


class PriceBreakSerializer(StrictSerializer):
    """A lower price from a number of packs on."""

    from_packs = serializers.IntegerField(min_value=2, max_value=10_000, help_text="packs in one order")
    price = serializers.DecimalField(
        max_digits=10, decimal_places=2, min_value=Decimal(0), help_text="of one piece, in the company's currency"
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for both, also where the item around it is only changed in part."""
        missing = [name for name in ("from_packs", "price") if name not in attrs]
        if missing:
            raise serializers.ValidationError(dict.fromkeys(missing, "A price break needs it."))
        return attrs


class CatalogueItemSerializer(QuantityModelSerializer):
    """A consumable, an accessory or a small part, with what its label says.

    A membrane states the conditions its flow was rated at; a resin its volume and capacity. What of them is not known
    may be left out: what is usual of the kind and size is stored, and named in `assumed`.
    """

    assumed = serializers.ListField(
        child=serializers.CharField(),
        read_only=True,
        help_text="attributes that nobody read from the label: what is usual of its kind and size stands there, and "
        "forecasts do not count it as known",
    )

    price_breaks = serializers.ListField(
        child=PriceBreakSerializer(),
        max_length=20,
        required=False,
        help_text="lower prices of one piece in larger orders, the fewest packs first",
    )

    class Meta:
        model = CatalogueItem
        fields = [
            "id",
            "code",
            "name",
            "kind",
            "purpose",
            "price",
            "price_breaks",
            "supplier",
            "supplier_part_number",
            "pack_size",
            "lead_time_days",
            "is_active",
            "maximum_service_time_days",
            "rated_burning_hours",
            "cartridge_size",
            "connection",
            "flow_direction",
            "carbon_kind",
            "membrane_material",
            "rejection_fraction",
            "rated_recovery_fraction",
            "assumed",
            *RETIRED_FIELDS,
        ]
        read_only_fields = ["id", *RETIRED_FIELDS]
        quantities = (
            "rated_volume_l",
            "micron_rating_um",
            "carbon_volume_l",
            "chlorine_capacity_g",
            "rated_flow_l_per_day",
            "rated_pressure_kpa",
            "rated_temperature_degc",
            "rated_tds_mg_per_l",
            "water_u_kelvin",
            "resin_volume_l",
            "resin_capacity_eq_per_l",
        )

    def validate_price_breaks(self, breaks: list[dict[str, Any]]) -> list[dict[str, Any]]:
        packs = [each["from_packs"] for each in breaks]
        if packs != sorted(set(packs)):
            raise serializers.ValidationError("Write each number of packs once, the fewest first.")
        return [{"from_packs": each["from_packs"], "price": f"{each['price']:.2f}"} for each in breaks]

    def _check_prices_fall(self, attrs: dict[str, Any]) -> None:
        breaks = attrs.get("price_breaks", getattr(self.instance, "price_breaks", []))
        before = attrs.get("price", getattr(self.instance, "price", None))
        if before is None:
            return
        for each in breaks:
            price = Decimal(each["price"])
            if price >= before:
                sentence = (
                    f"From {each['from_packs']} packs on a piece costs {price:.2f}, not less than the {before:.2f} "
                    "that it costs in a smaller order; a price break lowers the price."
                )
                raise serializers.ValidationError({"price_breaks" if "price_breaks" in attrs else "price": sentence})
            before = price

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for what the engineering needs of a membrane and of a resin."""
        self._check_prices_fall(attrs)
        kind = attrs.get("kind", getattr(self.instance, "kind", ""))
        missing = {}
        if attrs.get("purpose", getattr(self.instance, "purpose", "")) and kind not in KINDS_WITH_PURPOSE:
            missing["purpose"] = (
                f"A {CatalogueItem.Kind(kind).label} needs no purpose: leave it empty. Only an "
                "accessory or a small part has one."
            )
        label = complete_label(self.instance, kind, attrs)
        for column in LABEL_ATTRIBUTES.get(kind, ()):
            if label.get(column) in (None, ""):
                name = public_name(column)
                missing[name] = f"A {kind} states its {name.replace('_', ' ')}; it is on the label."
        if missing:
            raise serializers.ValidationError(missing)
        unchanged = {name for name, value in label.items() if getattr(self.instance, name, None) == value}
        return {**attrs, **{name: value for name, value in label.items() if name not in unchanged - attrs.keys()}}


class CatalogueItemViewSet(QuantityViewSet, RetireMixin, ReadWriteViewSet):
    """The catalogue. An item that has been fitted somewhere is kept; make it inactive instead of deleting it. When its
    label is put right, the readings of the units it stands in are judged by it again."""

    resource = "catalogue_item"
    retire_service = staticmethod(retiring.retire)
    unretire_service = staticmethod(retiring.unretire)
    queryset = CatalogueItem.objects.all()
    serializer_class = CatalogueItemSerializer
    filterset_fields = {
        "kind": ["exact"],
        "purpose": ["exact"],
        "code": ["exact"],
        "name": ["icontains"],
        "supplier": ["exact", "isnull"],
        "is_active": ["exact"],
        "cartridge_size": ["exact"],
        "connection": ["exact"],
        "flow_direction": ["exact"],
    }
    ordering_fields = ["code", "name", "kind", "purpose", "price", "lead_time_days"]
    search_fields = ["code", "name"]

    def perform_update(self, serializer: Any) -> CatalogueItem:
        return update_item(item=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)


class PartsRuleSerializer(TenantModelSerializer):
    """So many of an item for each position, unit or visit worked on."""

    class Meta:
        model = PartsRule
        fields = ["id", "item", "work", "stage", "per", "quantity"]
        read_only_fields = ["id"]
        validators: list[Any] = []


class PartsRuleViewSet(ReadWriteViewSet):
    """Small things a piece of work needs: O-rings, sanitiser, test strips."""

    resource = "parts_rule"
    queryset = PartsRule.objects.all()
    serializer_class = PartsRuleSerializer
    filterset_fields = {"item": ["exact"], "work": ["exact"], "stage": ["exact"], "per": ["exact"]}
    ordering_fields = ["work", "stage"]
