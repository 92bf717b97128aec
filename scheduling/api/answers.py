"""Answers by the link of a letter to a client: no signing in, and nothing but that one visit."""

from typing import Any, Final

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import MomentField
from accounts.http.serializers import AnswerSerializer, StrictSerializer
from accounts.http.throttles import AddressThrottle
from accounts.http.views import PublicView
from scheduling.models import Visit
from scheduling.services.people.answer_links import AnsweredFor, read_answer_token
from scheduling.services.rounds.answers import ANSWERS, answer, as_it_stands

#: Characters of a note that a client may leave.
LONGEST_NOTE: Final = 1000


class AnswerThrottle(AddressThrottle):
    """Looks at links and answers from one address."""

    scope = "answer-address"


class OfferedWindowSerializer(StrictSerializer):
    """A window to choose, also in words."""

    opens_at = MomentField()
    closes_at = MomentField()
    words = serializers.CharField(help_text="day and hours on the clock of the site")


class OfferOfLinkSerializer(AnswerSerializer):
    """How a visit stands, for whoever has the link."""

    company = serializers.CharField(help_text="who comes")
    phone = serializers.CharField(help_text="where to call the company; empty if not stored")
    site = serializers.CharField(help_text="name of the site")
    address = serializers.CharField(help_text="address of the site; empty if not stored")
    work = serializers.CharField(help_text="what is to be done, in words")
    minutes = serializers.IntegerField(help_text="how long the work takes, to the next quarter of an hour")
    state = serializers.ChoiceField(choices=Visit.State.choices, help_text="how the visit stands")
    sentence = serializers.CharField(help_text="how the visit stands, in a sentence")
    is_open = serializers.BooleanField(help_text="whether this link may still choose or decline")
    may_cancel = serializers.BooleanField(help_text="whether this link may cancel the confirmed time")
    windows = OfferedWindowSerializer(many=True, help_text="windows that can still be chosen")


class LinkAnswerSerializer(StrictSerializer):
    """What the client answers."""

    answer = serializers.ChoiceField(
        choices=ANSWERS, help_text="accept a window, decline them all, cancel the confirmed time, or ask for a call"
    )
    opens_at = MomentField(
        required=False, allow_null=True, default=None, help_text="start of the window that is accepted"
    )
    note = serializers.CharField(
        max_length=LONGEST_NOTE,
        required=False,
        allow_blank=True,
        default="",
        help_text="why, or what the call is about",
    )


class AnswerView(PublicView):
    """Read how a visit stands and answer, by the signed link of the letter."""

    throttle_classes = [AnswerThrottle]
    serializer_class = LinkAnswerSerializer
    http_method_names = ["get", "head", "post"]
    further_problems = (404, 409)

    @extend_schema(responses=OfferOfLinkSerializer, operation_id="answer_retrieve")
    def get(self, request: Request, token: str) -> Response:
        """Read how the visit of the link stands."""
        return self._shown(self._asked(token))

    @extend_schema(request=LinkAnswerSerializer, responses=OfferOfLinkSerializer, operation_id="answer_create")
    def post(self, request: Request, token: str) -> Response:
        """Accept one of the windows, decline them all, cancel the time that was confirmed, or ask for a call."""
        asked = self._asked(token)
        serializer = LinkAnswerSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        answer(asked, now=timezone.now(), **serializer.validated_data)
        return self._shown(self._asked(token))

    @staticmethod
    def _asked(token: str) -> AnsweredFor:
        asked = read_answer_token(token)
        if asked is None:
            raise NotFound("This link is not one of ours, or is too old; please call the company that wrote to you.")
        return asked

    @staticmethod
    def _shown(asked: AnsweredFor) -> Response:
        shown: dict[str, Any] = as_it_stands(asked, timezone.now())
        return Response(OfferOfLinkSerializer(shown).data, headers={"Cache-Control": "no-store"})
