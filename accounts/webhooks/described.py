"""What is posted to receivers, for the description of the interface: its `webhooks`, one for each event."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from accounts.webhooks.models import Event

_ID: Final = {"type": "integer"}
_DAY: Final = {"type": "string", "format": "date"}
_MOMENT: Final = {"type": "string", "format": "date-time"}


def _or_null(schema: Mapping[str, Any]) -> dict[str, Any]:
    return {**schema, "type": [schema["type"], "null"]}


_OF_UNIT: Final = {
    "unit": {**_ID, "description": "id of the unit"},
    "unit_code": {"type": "string", "description": "its code"},
    "site": {**_ID, "description": "id of its site"},
}
_OF_VISIT: Final = {
    "visit": {**_ID, "description": "id of the visit"},
    "site": {**_ID, "description": "id of its site"},
    "site_code": {"type": "string", "description": "code of the site"},
}
_WHEN: Final = {
    "starts_at": {**_MOMENT, "description": "when the work starts, as far as planned"},
    "installer": {**_or_null(_ID), "description": "id of who comes; null while that is open"},
    "is_confirmed": {"type": "boolean", "description": "whether the client has confirmed this time"},
}
_COMPANY: Final = {"company": {**_ID, "description": "id of the company"}}

#: What stands in `data` of each event; every name is always there.
DATA: Final[Mapping[Event, Mapping[str, Any]]] = MappingProxyType(
    {
        Event.FINDING_OPENED: {
            **_COMPANY,
            "finding": {**_ID, "description": "id of the finding"},
            **_OF_UNIT,
            "position": {**_or_null(_ID), "description": "id of the position it is about; null: the unit as a whole"},
            "cause": {"type": "string", "description": "code of what is wrong, as findings have it"},
        },
        Event.FORECAST_PAST_LIMIT: {
            **_COMPANY,
            **_OF_UNIT,
            "position": {**_ID, "description": "id of the position"},
            "stage": {"type": "string", "description": "what stands there, as positions have it"},
            "role": {"type": "string", "description": "its place in a pair, as positions have it"},
            "placement": {**_ID, "description": "id of the cartridge's placement"},
            "as_of": {**_DAY, "description": "day of the forecast"},
            "p50": {
                **_or_null(_DAY),
                "description": "day by which it is exhausted as likely as not; null where readings say that it is",
            },
        },
        Event.VISIT_PLANNED: {**_COMPANY, **_OF_VISIT, **_WHEN},
        Event.VISIT_MOVED: {
            **_COMPANY,
            **_OF_VISIT,
            **_WHEN,
            "earlier_starts_at": {**_MOMENT, "description": "when it was to start before"},
        },
        Event.VISIT_OFF: {
            **_COMPANY,
            **_OF_VISIT,
            "earlier_starts_at": {**_MOMENT, "description": "when it was to start"},
            "installer": {**_or_null(_ID), "description": "id of who was to come; null where that was open"},
            "state": {
                "type": "string",
                "enum": ["proposed", "offered", "cancelled", "not_done"],
                "description": "what became of it; one that is proposed or offered is told again once it is planned",
            },
        },
        Event.VISIT_DONE: {**_COMPANY, **_OF_VISIT, "done_at": {**_MOMENT, "description": "when the work was done"}},
        Event.ORDER_DUE: {
            **_COMPANY,
            "supplier": {**_ID, "description": "id of the supplier"},
            "parts_list": {**_ID, "description": "id of the parts list that is short"},
            "order_by": {**_DAY, "description": "last day on which an order still comes in time; it may have passed"},
            "items": {**_ID, "description": "of how many items something must be ordered by today"},
        },
        Event.TEST: {**_COMPANY, "endpoint": {**_ID, "description": "id of the endpoint"}},
    }
)
_MEANING: Final = {
    Event.FINDING_OPENED: "A pattern was recognised in the readings of a unit.",
    Event.FORECAST_PAST_LIMIT: "A cartridge is exhausted, or more likely exhausted than not, by its newest forecast.",
    Event.VISIT_PLANNED: "A visit got a time, in a published plan or with its client.",
    Event.VISIT_MOVED: "A visit has another time, or another installer.",
    Event.VISIT_OFF: "A visit lost its time: cancelled, declined, given back, not done, or left out of a new plan.",
    Event.VISIT_DONE: "The work of a visit was done.",
    Event.ORDER_DUE: "Something must be ordered from a supplier by today to come in time.",
    Event.TEST: "Somebody asked for a test; it is sent once.",
}
_HEADERS: Final = {
    "webhook-id": "id of the event, the same however often it is sent: take each one once",
    "webhook-timestamp": "when it was sent, in seconds since 1970; refuse what is older than five minutes",
    "webhook-signature": "signatures by the secret of the endpoint, after Standard Webhooks (v1, HMAC-SHA256), with "
    "spaces between; one of them must be right",
}


def describe_webhooks(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Add what is posted to receivers; a hook of the description's generator."""
    result["webhooks"] = {event.value: {"post": _operation(event)} for event in Event}
    return result


def _operation(event: Event) -> dict[str, Any]:
    data = DATA[event]
    body = {
        "type": "object",
        "properties": {
            "type": {"const": event.value, "type": "string"},
            "timestamp": {**_MOMENT, "description": "when it happened"},
            "data": {"type": "object", "properties": dict(data), "required": list(data)},
        },
        "required": ["type", "timestamp", "data"],
    }
    return {
        "summary": _MEANING[event],
        "tags": ["webhook-endpoints"],
        "parameters": [
            {"name": name, "in": "header", "required": True, "schema": {"type": "string"}, "description": meaning}
            for name, meaning in _HEADERS.items()
        ],
        "requestBody": {"required": True, "content": {"application/json": {"schema": body}}},
        "responses": {
            "2XX": {"description": "It was taken."},
            "410": {"description": "Nothing is wanted there any more: the endpoint is switched off."},
            "default": {"description": "It was not taken and is sent again, later each time, for about a day."},
        },
    }
