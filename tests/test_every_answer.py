"""What the interface answers of a fixed scenario, kept in a file: a field that changes is a difference that is seen.

`WRITE_EXAMPLES=1` writes the file anew. It holds answers as they were; compared is what they are made of, so that ids
of another database make no difference.
"""

import json
import os
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from accounts.models import Client, Company
from fleet.config.examples import ANSWERS
from tests import factories
from tests.rows import FACTORIES, make_row
from tests.test_every_route import ABSENT, TENANT_ROUTES, address, model_of
from tests.test_every_write import shape

pytestmark = pytest.mark.interface

#: Lists and rows that have no answer in this scenario.
MOST_MISSING = 4
READS = [route for route in TENANT_ROUTES if route.method == "GET"]


@pytest.fixture
def _as_always() -> Iterator[None]:
    """The same clock and the same numbers in names in every run."""
    for made in FACTORIES.values():
        made.reset_sequence(force=True)
    with time_machine.travel(datetime(2026, 3, 2, 9, 0, tzinfo=UTC), tick=False):
        yield


@pytest.mark.usefixtures("_as_always")
def test_answers_are_made_of_what_they_were_made_of(company: Company, as_owner: APIClient) -> None:
    answered: dict[str, Any] = {}
    for route in READS:
        client: Client = factories.ClientFactory(company=company)
        model = model_of(route) if route.view_class.queryset is not None else None
        row = make_row(model, company=company, client=client) if model is not None else None
        answer = as_owner.get(address(route, row.pk if row is not None else ABSENT))
        is_json = answer.headers.get("Content-Type", "").startswith("application/json")
        if answer.status_code == 200 and is_json:
            body = answer.json()
            if isinstance(body, dict) and isinstance(body.get("results"), list):
                body["results"] = body["results"][:1]
            answered[str(route)] = body
    if os.environ.get("WRITE_EXAMPLES"):
        ANSWERS.write_text(json.dumps(answered, indent=1, sort_keys=True, ensure_ascii=False) + "\n")
    kept = json.loads(ANSWERS.read_text())
    assert set(kept) == set(answered)
    changed = {
        name: {"was": shape(kept[name]), "is": shape(body)}
        for name, body in answered.items()
        if shape(kept[name]) != shape(body)
    }
    assert not changed
    # Nearly every list and every single row is among them.
    missing = [str(route) for route in READS if route.action in ("list", "retrieve") and str(route) not in kept]
    assert len(missing) <= MOST_MISSING, missing
