"""For whoever lost their password, or has another address: links of letters, open to everybody who has one."""

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.invitations import LinkThrottle
from accounts.http.serializers import StrictSerializer
from accounts.http.throttles import place_of
from accounts.http.views import PublicView
from accounts.services import links
from accounts.services.addresses import take_new_address
from accounts.services.passwords import ask_for_reset, reset_password


class AskedResetSerializer(StrictSerializer):
    """Whose password is lost."""

    email = serializers.EmailField(max_length=150)


class ChosenPasswordSerializer(StrictSerializer):
    """The password to sign in with from now on."""

    password = serializers.CharField(max_length=128, trim_whitespace=False, write_only=True)


class EmptySerializer(StrictSerializer):
    """Nothing."""


class ResetView(PublicView):
    """Ask for a link to choose a new password."""

    throttle_classes = [LinkThrottle]
    serializer_class = AskedResetSerializer
    http_method_names = ["post"]

    @extend_schema(request=AskedResetSerializer, responses={202: None}, operation_id="password_reset_ask")
    def post(self, request: Request) -> Response:
        """Have a link sent to an address; the answer is the same whether or not the address is known."""
        serializer = AskedResetSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        ask_for_reset(email=serializer.validated_data["email"], place=place_of(request), now=timezone.now())
        return Response(status=202)


class ResetLinkView(PublicView):
    """Choose a new password by the link of the letter."""

    throttle_classes = [LinkThrottle]
    serializer_class = ChosenPasswordSerializer
    http_method_names = ["post"]
    further_problems = (404,)

    @extend_schema(request=ChosenPasswordSerializer, responses={204: None}, operation_id="password_reset_create")
    def post(self, request: Request, token: str) -> Response:
        """Choose a new password, once; all sessions and tokens end, but those of meters."""
        if links.read_password_token(token) is None:
            raise NotFound("This link is not one of ours, was used, or is too old: ask for another.")
        serializer = ChosenPasswordSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        password = serializer.validated_data["password"]
        reset_password(token=token, password=password, place=place_of(request), now=timezone.now())
        return Response(status=204)


class AddressLinkView(PublicView):
    """Confirm a new address by the link of the letter that was sent there."""

    throttle_classes = [LinkThrottle]
    serializer_class = EmptySerializer
    http_method_names = ["post"]
    further_problems = (404, 409)

    @extend_schema(request=None, responses={204: None}, operation_id="new_address_create")
    def post(self, request: Request, token: str) -> Response:
        """Sign in with the new address from now on; the old address is told."""
        take_new_address(token=token, now=timezone.now())
        return Response(status=204)
