"""The shape of a map in the OpenAPI description: as much of RFC 7946 as the plans use."""

from typing import Any

_POSITION: dict[str, Any] = {
    "type": "array",
    "items": {"type": "number"},
    "minItems": 2,
    "maxItems": 2,
    "description": "longitude, latitude; WGS 84 degrees",
}


def _geometry(kind: str, coordinates: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "required": ["type", "coordinates"],
        "properties": {"type": {"type": "string", "enum": [kind]}, "coordinates": coordinates},
    }


_PROPERTIES: dict[str, Any] = {
    "type": "object",
    "required": ["kind"],
    "properties": {
        "kind": {"type": "string", "enum": ["round", "home", "stop", "unserved"]},
        "round": {"type": "integer"},
        "installer": {"type": "string"},
        "day": {"type": "string", "format": "date"},
        "stop": {"type": "integer"},
        "order": {"type": "integer"},
        "visit": {"type": "integer"},
        "site": {"type": "string"},
        "arrives_at": {"type": "string", "format": "date-time"},
        "starts_at": {"type": "string", "format": "date-time"},
        "leaves_at": {"type": "string", "format": "date-time"},
        "returns_at": {"type": "string", "format": "date-time"},
        "driving_minutes": {"type": "number"},
        "driving_km": {"type": "number"},
        "reason": {"type": "string"},
        "sentence": {"type": "string"},
    },
}

FEATURE_COLLECTION: dict[str, Any] = {
    "type": "object",
    "required": ["type", "features"],
    "properties": {
        "type": {"type": "string", "enum": ["FeatureCollection"]},
        "features": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["type", "geometry", "properties"],
                "properties": {
                    "type": {"type": "string", "enum": ["Feature"]},
                    "geometry": {
                        "oneOf": [
                            _geometry("Point", _POSITION),
                            _geometry("LineString", {"type": "array", "items": _POSITION, "minItems": 2}),
                            {"type": "null", "description": "the location of the site is unknown"},
                        ]
                    },
                    "properties": _PROPERTIES,
                },
            },
        },
    },
}
