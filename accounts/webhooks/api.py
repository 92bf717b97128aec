"""Endpoints and deliveries, for the owner."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet, ReadWriteViewSet
from accounts.jobs.api import ObjectField
from accounts.webhooks import endpoints
from accounts.webhooks.models import SUBSCRIBED, WebhookDelivery, WebhookEndpoint
from accounts.webhooks.places import FIRST_FREE_PORT, LONGEST_URL


class WebhookEndpointSerializer(TenantModelSerializer):
    """An address outside to which events are posted, without its secret."""

    events = serializers.ListField(child=serializers.ChoiceField(choices=SUBSCRIBED), read_only=True)

    class Meta:
        model = WebhookEndpoint
        fields = [
            "id",
            "name",
            "url",
            "events",
            "is_on",
            "earlier_until",
            "failing_since",
            "switched_off_at",
            "created_at",
        ]
        read_only_fields = fields


class NewWebhookEndpointSerializer(StrictSerializer):
    """Where events are to be sent, and which."""

    name = serializers.CharField(max_length=80, required=False, allow_blank=True, help_text="what it is for")
    url = serializers.CharField(
        max_length=LONGEST_URL,
        help_text="https address that everybody can reach, such as https://example.com/hooks; its port is 443 or one "
        f"from {FIRST_FREE_PORT} on",
    )
    events = serializers.ListField(
        child=serializers.ChoiceField(choices=SUBSCRIBED),
        allow_empty=False,
        max_length=len(SUBSCRIBED),
        help_text="which events it gets; bodies are described under `webhooks`",
    )
    is_on = serializers.BooleanField(required=False, help_text="false: nothing is sent there; true, the rule")


class SecretWebhookEndpointSerializer(WebhookEndpointSerializer):
    """An endpoint with its new secret, which is shown this once."""

    secret = serializers.CharField(help_text="signs what is sent, after Standard Webhooks; it is shown this once")

    class Meta(WebhookEndpointSerializer.Meta):
        fields = [*WebhookEndpointSerializer.Meta.fields, "secret"]
        read_only_fields = fields


class WebhookDeliverySerializer(TenantModelSerializer):
    """An event on its way to an endpoint."""

    body = ObjectField(read_only=True)

    class Meta:
        model = WebhookDelivery
        fields = [
            "id",
            "endpoint",
            "event",
            "message_id",
            "state",
            "attempts",
            "answer_status",
            "trouble",
            "body",
            "happened_at",
            "attempted_at",
            "next_attempt_at",
            "delivered_at",
        ]
        read_only_fields = fields


class WebhookEndpointViewSet(ReadWriteViewSet):
    """Addresses outside, to which events of the company are posted, signed after Standard Webhooks.

    What is not taken is tried again for about a day; an endpoint that takes nothing for three days is switched off, and
    the owners are told. Nothing is sent to addresses of inner networks, and no redirect is followed.
    """

    resource = "webhook_endpoint"
    queryset = WebhookEndpoint.objects.all()
    serializer_class = WebhookEndpointSerializer
    input_serializer_class = NewWebhookEndpointSerializer
    keeps_answers = False
    filterset_fields = {"is_on": ["exact"]}
    ordering_fields = ["created_at", "name"]

    @extend_schema(responses={201: SecretWebhookEndpointSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Register an address for events. Its secret is in the answer and nowhere else."""
        facts = {"name": "", **self.valid_input().validated_data}
        endpoint, secret = endpoints.register_endpoint(by=self.by, now=self.now, **facts)
        return self._with_secret(endpoint, secret, 201, {"Location": f"{request.path}{endpoint.pk}/"})

    def perform_update(self, serializer: Any) -> WebhookEndpoint:
        return endpoints.change_endpoint(
            by=self.by, endpoint=serializer.instance, now=self.now, **serializer.validated_data
        )

    def perform_destroy(self, instance: WebhookEndpoint) -> None:
        endpoints.delete_endpoint(by=self.by, endpoint=instance, now=self.now)

    @extend_schema(request=None, responses=SecretWebhookEndpointSerializer)
    @action(detail=True, methods=["post"], url_path="rotate-secret")
    def rotate_secret(self, request: Request, pk: str) -> Response:
        """Give the endpoint a new secret. The one before signs beside it for a day."""
        with self.transaction():
            endpoint, secret = endpoints.rotate_secret(by=self.by, endpoint=self.locked_object(), now=self.now)
        return self._with_secret(endpoint, secret, 200, {})

    @extend_schema(request=None, responses={202: WebhookDeliverySerializer})
    @action(detail=True, methods=["post"])
    def test(self, request: Request, pk: str) -> Response:
        """Send a test event, once. What came of it stands in its delivery."""
        with self.transaction():
            delivery = endpoints.send_test(by=self.by, endpoint=self.locked_object(), now=self.now)
        return _delivery_answer(self, delivery)

    def _with_secret(self, endpoint: WebhookEndpoint, secret: str, status: int, headers: dict[str, str]) -> Response:
        endpoint.secret = secret  # type: ignore[attr-defined]
        data = SecretWebhookEndpointSerializer(endpoint, context=self.get_serializer_context()).data
        return Response(data, status=status, headers={"Cache-Control": "no-store", **headers})


class WebhookDeliveryViewSet(ReadOnlyViewSet):
    """Events on their way to your endpoints, newest first; kept for 30 days."""

    resource = "webhook_delivery"
    queryset = WebhookDelivery.objects.select_related("endpoint")
    serializer_class = WebhookDeliverySerializer
    filterset_fields = {"endpoint": ["exact"], "event": ["exact"], "state": ["exact"]}
    ordering_fields = ["happened_at", "next_attempt_at"]

    @extend_schema(request=None, responses={202: WebhookDeliverySerializer})
    @action(detail=True, methods=["post"])
    def replay(self, request: Request, pk: str) -> Response:
        """Send an event again, with the same id, however it ended before."""
        with self.transaction():
            delivery = endpoints.replay(by=self.by, delivery=self.locked_object(), now=self.now)
        return _delivery_answer(self, delivery)


def _delivery_answer(view: Any, delivery: WebhookDelivery) -> Response:
    data = WebhookDeliverySerializer(
        WebhookDelivery.objects.get(pk=delivery.pk), context=view.get_serializer_context()
    ).data
    return Response(data, status=202)
