"""The OpenAPI description: what every operation has in common is said here once."""

import re
from typing import Any, Final

from django.core.exceptions import FieldDoesNotExist
from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import get_doc
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from accounts.fields_seen import narrowed_to
from accounts.http.fields import TenantRelatedField
from accounts.http.filters import plain_name
from accounts.http.problems import KINDS, PROBLEM_JSON
from accounts.http.serializers import FieldsByRole
from accounts.models import Membership

_ABOUT: Final = "x-about"
_END_OF_SENTENCE: Final = re.compile(r"[.;:] (?=[A-Z])|; ")
_LONGEST_SUMMARY: Final = 120
#: What a company has one of.
_ONLY_ONE: Final = {"company", "policy", "me", "travel", "session", "attention"}


class ProblemErrorSerializer(serializers.Serializer[Any]):
    """One fault: where it lies (exactly one of pointer, parameter, header) and what would be right."""

    pointer = serializers.CharField(
        required=False, help_text="place of the fault in the body, as a JSON Pointer (RFC 6901)"
    )
    parameter = serializers.CharField(required=False, help_text="name of the query parameter")
    header = serializers.CharField(required=False, help_text="name of the header")
    detail = serializers.CharField(help_text="what was wrong, and what would be right")


class DependantSerializer(serializers.Serializer[Any]):
    """A row that still needs the one that was to be deleted."""

    kind = serializers.CharField()
    id = serializers.CharField()
    name = serializers.CharField()


class ProblemSerializer(serializers.Serializer[Any]):
    """Problem details as in RFC 9457."""

    type = serializers.CharField(help_text="address of a page that says what this kind of problem means")
    title = serializers.CharField()
    status = serializers.IntegerField(min_value=400, max_value=599)
    detail = serializers.CharField(help_text="what happened, for a person")
    code = serializers.CharField(help_text="what happened, for a program")
    errors = ProblemErrorSerializer(  # type: ignore[assignment]
        many=True, help_text="every fault that was found; empty when none can be placed"
    )
    dependants = DependantSerializer(
        many=True, required=False, help_text="rows that need the one to be deleted; 20 at most are shown"
    )
    request_id = serializers.CharField(
        required=False, help_text="name of the request, to tell whoever looks for it in the server's log"
    )


class ProblemSchema(AutoSchema):
    """Adds to every operation the problems it may answer with, and the headers it reads and sends."""

    view: Any

    def _is_single(self) -> bool:
        return getattr(self.view, "action", None) in {"retrieve", "partial_update", "create"}

    def get_description(self) -> str:  # type: ignore[override]
        """Give the action's own words if the viewset wrote it, else the viewset's."""
        action = getattr(self.view, "action", None) or self.method.lower()
        # Only Python functions of the view's own class count: inherited ones describe the machinery.
        own = type(self.view).__dict__.get(action)
        return str(get_doc(own) or get_doc(type(self.view))) if own is not None else str(get_doc(type(self.view)))

    def get_summary(self) -> str:
        """What the operation does, in a few words: the first sentence of the action's own, else by its kind."""
        action = getattr(self.view, "action", None) or self.method.lower()
        own = type(self.view).__dict__.get(action)
        words = get_doc(own) if own is not None else ""
        one, many = self._thing()
        by_kind = {
            "list": f"List {many}",
            "retrieve": f"Read {one}",
            "create": f"Add {one}",
            "partial_update": f"Change {one}",
            "destroy": f"Delete {one}",
            "retire": f"Take {one} out of use",
            "unretire": f"Take {one} back into use",
        }
        if not words or (action in by_kind and len(first_sentence(words)) > _LONGEST_SUMMARY):
            return by_kind.get(action, first_sentence(words) or f"Read {many}")
        return first_sentence(words)

    def get_extensions(self) -> dict[str, Any]:
        """Say of every operation what its view is about, for `describe_tags` to gather."""
        return {_ABOUT: first_sentence(get_doc(type(self.view)))}

    def _thing(self) -> tuple[str, str]:
        """What the rows of the view are called, one of them with its article and several."""
        many = next(iter(self.get_tags()), "index").replace("-", " ")
        one = (getattr(self.view, "resource", "") or many).replace("_", " ")
        if one in _ONLY_ONE:
            return f"the {one}", f"the {one}"
        if one.endswith("s"):
            return one, many
        return f"{'an' if one[0] in 'aeio' else 'a'} {one}", many

    def get_request_serializer(self) -> Any:
        input_serializer = getattr(self.view, "input_serializer_class", None)
        own_action = getattr(self.view, "action", None) in {"create", "partial_update"}
        return input_serializer() if input_serializer is not None and own_action else super().get_request_serializer()

    def get_override_parameters(self) -> list[Any]:
        parameters = list(super().get_override_parameters())
        action = getattr(self.view, "action", None)
        if self.method == "POST" and getattr(self.view, "keeps_answers", False):
            parameters.append(
                OpenApiParameter(
                    "Idempotency-Key",
                    OpenApiTypes.STR,
                    OpenApiParameter.HEADER,
                    description="1 to 120 printable ASCII characters of your choice. A request repeated with its key "
                    "is carried out once and answered alike.",
                )
            )
        if action in {"partial_update", "destroy"} and hasattr(self.view, "locked_object"):
            parameters.append(
                OpenApiParameter(
                    "If-Match",
                    OpenApiTypes.STR,
                    OpenApiParameter.HEADER,
                    description="The ETag you read. If the thing changed since, nothing is done and 412 is answered.",
                )
            )
        if action == "retrieve":
            parameters.append(
                OpenApiParameter(
                    "If-None-Match",
                    OpenApiTypes.STR,
                    OpenApiParameter.HEADER,
                    description="An ETag you hold. If the thing is still the same, 304 is answered without a body.",
                )
            )
        if self._is_single() and hasattr(self.view, "locked_object"):
            parameters.append(
                OpenApiParameter(
                    "ETag",
                    OpenApiTypes.STR,
                    OpenApiParameter.HEADER,
                    description="Changes when the thing changes.",
                    response=[200, 201],
                )
            )
        return parameters

    def _map_basic_serializer(self, serializer: Any, direction: Any) -> dict[str, Any]:
        described: dict[str, Any] = super()._map_basic_serializer(serializer, direction)
        if direction != "response" or not isinstance(serializer, FieldsByRole):
            return described
        for name, of_field in described.get("properties", {}).items():
            roles = narrowed_to(serializer.kinds(), name)
            if roles is None:
                continue
            words = f"Absent unless your role is {_one_of(roles)}."
            if "$ref" in of_field:
                of_field = described["properties"][name] = {"allOf": [of_field]}
            of_field["description"] = " ".join(filter(None, [_sentence(of_field.get("description", "")), words]))
            if name in described.get("required", ()):
                described["required"].remove(name)
        if not described.get("required", True):
            del described["required"]
        return described

    def _map_serializer_field(self, field: Any, direction: Any, bypass_extensions: bool = False) -> Any:
        kinds = (serializers.ChoiceField, serializers.EmailField, serializers.URLField)
        if isinstance(field, kinds) and field.read_only and _may_be_blank(field):
            # REST framework forgets this of fields that are only read.
            field.allow_blank = True
        described = super()._map_serializer_field(field, direction, bypass_extensions)
        if described.get("format") in {"email", "uri"} and getattr(field, "allow_blank", False):
            # An empty string is no address, so a strict reader of `format` would refuse what is allowed here.
            return {"anyOf": [described, {"type": "string", "maxLength": 0}]}
        if direction == "request" and isinstance(field, TenantRelatedField) and field.may_be_named:
            return {**described, "type": ["integer", "string"]}
        return described

    def _get_response_bodies(self, direction: Any = "response") -> dict[str, Any]:
        responses = dict(super()._get_response_bodies(direction))
        if getattr(self.view, "action", None) == "retrieve" and hasattr(self.view, "locked_object"):
            responses["304"] = {"description": "You hold the newest already."}
        for status in self._problem_statuses():
            if str(status) in responses:
                continue
            answer = self._get_response_for_code(ProblemSerializer, str(status), [PROBLEM_JSON], direction)
            responses[str(status)] = {**answer, "description": KINDS[status][1]}
        return responses

    def _problem_statuses(self) -> list[int]:
        writes = self.method in {"POST", "PATCH", "PUT", "DELETE"}
        single = "{" in self.path
        statuses = {400, 406, 429, 503}
        if self.get_auth() and {} not in self.get_auth():
            statuses |= {401, 403}
        if single or not writes:
            # A list answers 404 for a page beyond its last.
            statuses |= {404}
        if writes:
            statuses |= {409}
        if self.method in {"POST", "PATCH", "PUT"}:
            statuses |= {413, 415}
        if self.method == "POST" and getattr(self.view, "keeps_answers", False):
            statuses |= {422}
        if getattr(self.view, "action", None) in {"partial_update", "destroy"}:
            statuses |= {412}
        # A view names here what it answers beyond the rule, such as the 401 of a wrong password.
        return sorted(statuses | set(getattr(self.view, "further_problems", ())))


def prefer_plain_names(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Say of the library's own names of query parameters which plain name means the same; a hook of the generator."""
    for operations in result["paths"].values():
        parameters = operations.get("get", {}).get("parameters", [])
        names = {parameter["name"] for parameter in parameters}
        for parameter in parameters:
            plain = plain_name(parameter["name"]) if parameter["in"] == "query" else None
            if plain in names:
                parameter["deprecated"] = True
                parameter["description"] = f"another name of `{plain}`"
    return result


def describe_tags(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Describe each tag by what the views behind it say of themselves; a hook of the description's generator."""
    about: dict[str, str] = {}
    for operations in result["paths"].values():
        for operation in operations.values():
            words = operation.pop(_ABOUT, "")
            for tag in operation.get("tags", ()):
                about[tag] = about.get(tag) or words
    result["tags"] = [{"name": tag, "description": words} for tag, words in sorted(about.items())]
    return result


def first_sentence(words: str) -> str:
    """The first sentence of a text, without its stop.

    >>> first_sentence("Cancel a visit. Its needs stay open, e.g. for later.")
    'Cancel a visit'
    """
    paragraph = " ".join(words.strip().split("\n\n")[0].split())
    return _END_OF_SENTENCE.split(paragraph, maxsplit=1)[0].rstrip(".:;")


def _one_of(roles: frozenset[Any]) -> str:
    *others, last = [role.value for role in Membership.Role if role in roles]
    return f"{', '.join(others)} or {last}" if others else str(last)


def _sentence(words: str) -> str:
    words = words.strip()
    return words if not words or words.endswith((".", "?", "!")) else f"{words}."


def _may_be_blank(field: Any) -> bool:
    """Say whether the column behind a field of a model's serializer may hold no word at all."""
    model = getattr(getattr(field.parent, "Meta", None), "model", None)
    try:
        return bool(model and model._meta.get_field(field.source).blank)
    except FieldDoesNotExist:
        return False


class TimeOfDay(OpenApiSerializerFieldExtension):
    """A time of day on the clock of a place: the format "time" of JSON Schema would ask for an offset from UTC."""

    target_class = "rest_framework.serializers.TimeField"

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        return {"type": "string", "pattern": r"^([01]\d|2[0-3]):[0-5]\d(:[0-5]\d)?$", "examples": ["08:00"]}


class TokenScheme(OpenApiAuthenticationExtension):
    """Bearer tokens."""

    target_class = "accounts.http.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return {"type": "http", "scheme": "bearer", "description": "A token from /api/v1/login/ or /api/v1/tokens/."}


class SessionScheme(OpenApiAuthenticationExtension):
    """Sessions of a browser."""

    target_class = "accounts.http.authentication.SessionAuthentication"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        from django.conf import settings

        return {
            "type": "apiKey",
            "in": "cookie",
            "name": settings.SESSION_COOKIE_NAME,
            "description": "A browser's session, from /api/v1/session/.",
        }
