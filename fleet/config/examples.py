"""Examples of what is sent, shown in the description of the API.

They are bodies that the tests send and that are carried out: `tests/test_every_write.py` writes and compares them.
"""

import json
from typing import Any, Final

from django.conf import settings

BODIES: Final = settings.BASE_DIR / "fixtures" / "api" / "bodies.json"
#: Answers of a fixed scenario (`tests/test_every_answer.py`).
ANSWERS: Final = BODIES.with_name("answers.json")


def show_bodies(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Put an example beside each body that has one; a hook of the description's generator."""
    bodies = json.loads(BODIES.read_text())
    for address, operations in result["paths"].items():
        for method, operation in operations.items():
            name = f"{method.upper()} {address.replace('{id}', '<pk>').replace('{token}', '<token>')}"
            content = operation.get("requestBody", {}).get("content", {})
            if name in bodies and "application/json" in content:
                content["application/json"]["example"] = bodies[name]
    return result
