"""The description of the API is built once, however many ask for it at once."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.test import Client
from drf_spectacular.generators import SchemaGenerator

from fleet.config.docs import SchemaView

JSON = {"Accept": "application/json"}

pytestmark = pytest.mark.interface


def test_many_who_ask_at_once_are_answered_from_one_build(monkeypatch: pytest.MonkeyPatch) -> None:
    built: list[int] = []
    build = SchemaGenerator.get_schema

    def counted(*args: object, **kwargs: object) -> object:
        built.append(1)
        return build(*args, **kwargs)

    monkeypatch.setattr(SchemaGenerator, "get_schema", counted)
    monkeypatch.setattr(SchemaView, "_made", {})
    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda _: Client().get("/api/v1/schema/", headers=JSON), range(4)))
    assert [answer.status_code for answer in answers] == [200] * 4
    assert len({answer.content for answer in answers}) == 1
    assert answers[0].json()["openapi"] == "3.1.0"
    assert built == [1]


def test_it_is_yaml_unless_json_is_asked_for(client: Client) -> None:
    plain, asked = client.get("/api/v1/schema/"), client.get("/api/v1/schema/", headers=JSON)
    assert plain.headers["Content-Type"].startswith("application/vnd.oai.openapi")
    assert plain.content.startswith(b"openapi: 3.1.0")
    assert asked.json()["info"] == {
        "title": "RO fleet",
        "version": "1",
        "description": asked.json()["info"]["description"],
    }
