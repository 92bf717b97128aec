"""Fields made once for a class, and values read the short way: what is answered stays what the library answers."""

from types import SimpleNamespace
from typing import Any

import pytest
from rest_framework import serializers
from rest_framework.test import APIClient

from accounts.http.etags import etag_of_bytes
from accounts.http.serializers import AnswerSerializer, TenantModelSerializer
from accounts.models import Client, Membership
from tests.factories import ClientFactory


class Inner(AnswerSerializer):
    name = serializers.CharField()


class Outer(AnswerSerializer):
    always_readable = frozenset({"plain", "deep", "called", "named", "inner", "many", "missing", "empty", "left_out"})

    plain = serializers.IntegerField()
    deep = serializers.CharField(source="inner.name")
    called = serializers.CharField()
    named = serializers.SerializerMethodField()
    inner = Inner()
    many = Inner(many=True)
    missing = serializers.CharField(source="nowhere.name", allow_null=True, default=None)
    empty = serializers.CharField(allow_null=True)
    left_out = serializers.CharField(required=False)

    def get_named(self, row: Any) -> str:
        return f"row {row['plain'] if isinstance(row, dict) else row.plain}"


class LibraryOuter(Outer):
    """The same, read as the library does."""

    to_representation = serializers.Serializer.to_representation


def row() -> Any:
    inner = SimpleNamespace(name="in")
    return SimpleNamespace(plain="7", inner=inner, called=lambda: "back", many=[inner, inner], empty=None)


@pytest.mark.parametrize("of", [row, lambda: {**vars(row()), "inner": {"name": "in"}, "many": []}])
def test_rows_and_mappings_are_answered_as_by_the_library(of: Any) -> None:
    owner = {"membership": SimpleNamespace(role=Membership.Role.OWNER)}
    answered = Outer(of(), context=owner).data
    assert answered == LibraryOuter(of(), context=owner).data
    assert answered["plain"] == 7
    assert answered["called"] == "back"
    assert answered["deep"] == "in"
    assert answered["missing"] is None
    assert "left_out" not in answered


def test_a_value_that_is_not_there_is_told_as_by_the_library() -> None:
    broken = row()
    del broken.plain
    with pytest.raises(AttributeError, match="plain"):
        Outer(broken, context={"membership": None}).data  # noqa: B018


def test_what_is_changed_in_one_serializer_is_not_changed_in_the_next() -> None:
    first, second = Outer(), Outer()
    first.fields["plain"].required = False
    first.fields["plain"].validators = []
    first.fields.pop("empty")
    assert second.fields["plain"].required
    assert "empty" in second.fields
    assert "empty" in Outer().fields
    assert first.fields["plain"].parent is first
    assert second.fields["many"].child.parent is second.fields["many"]


class KeyedSerializer(TenantModelSerializer):
    class Meta:
        model = Client
        fields = ["id", "company", "name"]


class LibraryKeyed(KeyedSerializer):
    to_representation = serializers.Serializer.to_representation


def test_keys_of_other_rows_are_read_without_those_rows(db: None, django_assert_num_queries: Any) -> None:
    pk = ClientFactory().pk
    owner = {"membership": SimpleNamespace(role=Membership.Role.OWNER)}
    client = Client.objects.get(pk=pk)
    with django_assert_num_queries(0):
        answered = KeyedSerializer(client, context=owner).data
    assert answered == LibraryKeyed(client, context=owner).data
    assert answered["company"] == client.company_id


def test_an_answer_is_written_once_and_its_etag_is_of_its_bytes(as_owner: APIClient, owner: Membership) -> None:
    pk = ClientFactory(company=owner.company).pk
    answer = as_owner.get(f"/api/v1/clients/{pk}/")
    assert answer.headers["ETag"] == etag_of_bytes(answer.content)
    indented = as_owner.get(f"/api/v1/clients/{pk}/", headers={"Accept": "application/json; indent=2"})
    assert indented.json() == answer.json()
    assert indented.content != answer.content
