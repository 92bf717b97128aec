"""The way in: everything that can be read without knowing an id."""

import pytest
from rest_framework.test import APIClient

pytestmark = pytest.mark.interface


def test_the_index_names_what_is_there_and_each_address_answers(as_owner: APIClient, api: APIClient) -> None:
    index = api.get("/api/v1/")
    assert index.status_code == 200
    answer = index.json()
    assert answer["addresses"]["clients"] == "/api/v1/clients/"
    assert answer["addresses"]["purchase-orders/late"] == "/api/v1/purchase-orders/late/"
    assert len(answer["addresses"]) > 50
    for address in answer["addresses"].values():
        # What needs words, days or a round of today says so; nothing is missing.
        assert as_owner.get(address).status_code in {200, 400, 404}, address
        assert api.get(address).status_code == 401, address
    for page in ("documentation", "problems"):
        assert api.get(answer[page]).status_code == 200


def test_the_bare_address_leads_programs_to_the_index_and_people_to_the_door(api: APIClient) -> None:
    assert api.get("/").headers["Location"] == "/api/v1/"
    assert api.get("/", HTTP_ACCEPT="text/html,*/*;q=0.8").headers["Location"] == "/sign-in/"
    assert api.get("/").headers["Vary"] == "Accept"
    assert api.post("/").status_code == 405
