"""The page behind the link of a letter: choose a time, decline, cancel, or ask for a call."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views import View
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from accounts.errors import DomainError
from accounts.http.fields import MomentField
from accounts.http.pages import PAGE_HEADERS
from scheduling.api.answers import LONGEST_NOTE, AnswerThrottle, LinkAnswerSerializer
from scheduling.services.people.answer_links import AnsweredFor, answer_token, read_answer_token
from scheduling.services.rounds.answers import ACCEPT, answer, as_it_stands
from scheduling.services.words import answers as words


class AnswerPage(View):
    """Shows how the visit of a link stands and takes the client's answer; opening it changes nothing."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        handler: Callable[..., HttpResponse] = super().dispatch  # type: ignore[assignment]
        if AnswerThrottle().allow_request(Request(request), self):
            response = handler(request, *args, **kwargs)
        else:
            response = self._page(request, None, words.too_often(), status=429)
        add_never_cache_headers(response)
        for name, value in PAGE_HEADERS.items():
            response.headers[name] = value
        return response

    def get(self, request: HttpRequest, token: str) -> HttpResponse:
        """The visit and what can be answered."""
        asked = read_answer_token(token)
        if asked is None:
            return self._page(request, None, words.not_ours(), status=404)
        return self._page(request, asked, "")

    def post(self, request: HttpRequest, token: str) -> HttpResponse:
        """Take the answer and show how the visit stands now."""
        asked = read_answer_token(token)
        if asked is None:
            return self._page(request, None, words.not_ours(), status=404)
        choice, note = request.POST.get("answer", ""), request.POST.get("note", "").strip()
        opens_at = _moment(request.POST.get("opens_at", ""))
        if not LinkAnswerSerializer(data={"answer": choice, "note": note}).is_valid():
            return self._page(request, asked, words.not_understood(LONGEST_NOTE), status=400)
        if choice == ACCEPT and opens_at is None:
            return self._page(request, asked, words.choose_one(), status=400)
        try:
            visit = answer(asked, answer=choice, opens_at=opens_at, note=note, now=timezone.now())
        except DomainError as error:
            return self._page(request, read_answer_token(token), error.sentence, status=409)
        # a reload of the answered page must not answer again
        if choice == ACCEPT:
            # the link of the offer is used up; that of the time may cancel it
            return redirect("answer-page", token=answer_token(visit))
        return redirect(request.path)

    @staticmethod
    def _page(request: HttpRequest, asked: AnsweredFor | None, remark: str, status: int = 200) -> HttpResponse:
        visit = as_it_stands(asked, timezone.now()) if asked is not None else None
        context = {"visit": visit, "remark": remark, "text": words.labels(visit), "language": settings.LANGUAGE_CODE}
        return render(request, "scheduling/answer.html", context, status=status)


def _moment(text: str) -> datetime | None:
    try:
        return MomentField().to_internal_value(text)
    except ValidationError:
        return None
