"""The way in: what stands where, for somebody who has only the address of the interface."""

from collections.abc import Iterator

from django.urls import URLPattern, URLResolver, get_resolver, reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.serializers import AnswerSerializer
from accounts.http.views import PublicView


class IndexSerializer(AnswerSerializer):
    """Where things stand."""

    documentation = serializers.CharField(help_text="address of a page to read and try everything")
    description = serializers.CharField(help_text="address of the OpenAPI description")
    problems = serializers.CharField(help_text="address of what each type of problem means")
    addresses = serializers.DictField(
        child=serializers.CharField(), help_text="what can be read without knowing an id: name -> address"
    )


class IndexView(PublicView):
    """What there is, and where."""

    @extend_schema(responses=IndexSerializer, operation_id="index", tags=["index"])
    def get(self, request: Request) -> Response:
        """Read where the documentation, the description and all lists stand."""
        answer = {
            "documentation": reverse("docs"),
            "description": reverse("schema"),
            "problems": reverse("problem-kinds"),
            "addresses": dict(sorted(_addresses(reverse("index")))),
        }
        return Response(IndexSerializer(answer).data)


def _addresses(root: str) -> Iterator[tuple[str, str]]:
    """Names and addresses below the index that are read and hold no id, in every room."""
    for pattern in _patterns(get_resolver().url_patterns):
        actions = getattr(pattern.callback, "actions", None)
        if not pattern.name or not actions or "get" not in actions or pattern.pattern.regex.groups:
            continue
        address = reverse(pattern.name)
        if address.startswith(root):
            yield address.removeprefix(root).strip("/"), address


def _patterns(entries: list[URLPattern | URLResolver]) -> Iterator[URLPattern]:
    for entry in entries:
        if isinstance(entry, URLResolver):
            yield from _patterns(entry.url_patterns)
        else:
            yield entry
