"""The call that settles a matter: what is shown beside everything that waits for a person."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Settle:
    """The call that settles a matter: method, path and body, and what it does in words."""

    words: str
    method: str
    path: str
    body: Mapping[str, Any] = field(default_factory=dict)
