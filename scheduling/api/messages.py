"""Messages: what clients, installers, suppliers and the office are told; and whom the office must call."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from accounts.models import Membership
from scheduling.api.notes import NoteSerializer
from scheduling.models import Message
from scheduling.services.people.answer_links import without_links
from scheduling.services.people.messages import note_call


class MessageSerializer(TenantModelSerializer):
    """One message to one reader about one event."""

    client_name = serializers.CharField(source="client.name", read_only=True, allow_null=True, default=None)
    phone = serializers.CharField(
        source="client.phone", read_only=True, allow_null=True, default=None, help_text="number of the client, to call"
    )
    installer_name = serializers.CharField(source="installer.name", read_only=True, allow_null=True, default=None)

    supplier_name = serializers.CharField(
        source="order.supplier.name",
        read_only=True,
        allow_null=True,
        default=None,
        help_text="name of the supplier it goes to; null where it goes to none",
    )

    class Meta:
        model = Message
        fields = [
            "id",
            "audience",
            "kind",
            "state",
            "client",
            "client_name",
            "phone",
            "installer",
            "installer_name",
            "visit",
            "order",
            "finding",
            "supplier_name",
            "email",
            "text_number",
            "subject",
            "body",
            "created_at",
            "useful_until",
            "attempts",
            "sent_at",
            "trouble",
            "called_at",
            "call_note",
        ]
        read_only_fields = fields

    def to_representation(self, message: Message) -> dict[str, Any]:
        """The message; the link by which its client answers is for the client alone."""
        shown: dict[str, Any] = super().to_representation(message)
        membership = self.context.get("membership")
        if membership is None or membership.role != Membership.Role.CLIENT:
            shown["body"] = without_links(shown["body"])
        return shown


class MessageViewSet(ReadOnlyViewSet):
    """What was told, or is to be told. `?state=to_call` is the office's call list; clients see what is for them."""

    resource = "message"
    company_first = True
    queryset = Message.objects.select_related("client", "installer", "order__supplier")
    serializer_class = MessageSerializer
    filterset_fields = {
        "state": ["exact"],
        "audience": ["exact"],
        "kind": ["exact"],
        "client": ["exact"],
        "installer": ["exact"],
        "visit": ["exact"],
        "order": ["exact"],
        "finding": ["exact"],
        "created_at": ["gte", "lt"],
    }
    ordering_fields = ["created_at"]

    @extend_schema(request=NoteSerializer, responses=MessageSerializer)
    @action(detail=True, methods=["post"])
    def called(self, request: Request, pk: str) -> Response:
        """Take the message off the call list: somebody has told it by telephone."""
        with self.transaction():
            message = self.locked_object()
            sent = NoteSerializer.read(self)
            return self.answer(self.reread(note_call(message=message, by=self.by, now=self.now, **sent)))
