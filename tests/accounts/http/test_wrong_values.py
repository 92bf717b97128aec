"""A refusal repeats what was sent and says what would be right, whatever kind of field it was sent to."""

from typing import Any

import pytest
from rest_framework import serializers
from rest_framework.test import APIClient

from accounts.http.fields import FiniteFloatField, MomentField
from accounts.http.serializers import StrictSerializer
from accounts.http.wrong_values import what_is_taken

pytestmark = pytest.mark.interface


class Inner(StrictSerializer):
    day = serializers.DateField()


class Everything(StrictSerializer):
    whole = serializers.IntegerField(min_value=1, max_value=12, required=False)
    number = FiniteFloatField(min_value=0, required=False)
    money = serializers.DecimalField(max_digits=6, decimal_places=2, required=False)
    flag = serializers.BooleanField(required=False)
    word = serializers.ChoiceField(choices=["lead", "lag"], required=False)
    day = serializers.DateField(required=False)
    moment = MomentField(required=False)
    text = serializers.CharField(max_length=20, required=False)
    email = serializers.EmailField(required=False)
    secret = serializers.CharField(min_length=8, write_only=True, required=False)
    words = serializers.ListField(child=serializers.ChoiceField(choices=["lead", "lag"]), max_length=3, required=False)
    inner = Inner(required=False)
    inners = Inner(many=True, required=False)
    own = serializers.RegexField(r"^a+\Z", required=False, error_messages={"invalid": "Write the letter a alone."})


def refused(**body: Any) -> Any:
    serializer = Everything(data=body, context={"membership": None, "now": None})
    assert not serializer.is_valid()
    return serializer.errors


@pytest.mark.parametrize(
    ("name", "sent", "told"),
    [
        ("whole", "soon", "'soon' cannot be taken here; send a whole number from 1 to 12."),
        ("whole", 13, "13 cannot be taken here; send a whole number from 1 to 12."),
        ("whole", None, "null cannot be taken here; send a whole number from 1 to 12."),
        ("number", "nan", "'nan' cannot be taken here; send a number, 0 or more."),
        ("number", -1.5, "-1.5 cannot be taken here; send a number, 0 or more."),
        ("money", "1.234", "'1.234' cannot be taken here; send a number below 10000, with at most 2 decimals."),
        ("flag", "perhaps", "'perhaps' cannot be taken here; send true or false."),
        ("word", "middle", "'middle' cannot be taken here; send one of: lead, lag."),
        ("day", "2026-02-30", "'2026-02-30' cannot be taken here; send a day, such as 2026-03-01."),
        (
            "moment",
            "2026-03-01T08:30:00",
            "'2026-03-01T08:30:00' has no offset from UTC; send the time with it, such as 2026-03-01T08:30:00+01:00 or "
            "...Z.",
        ),
        ("text", "", "An empty text cannot be taken here; send a text of 1 to 20 characters."),
        ("text", ["x"], "A list of 1 cannot be taken here; send a text of 1 to 20 characters."),
        ("email", "jens", "'jens' cannot be taken here; send an e-mail address, such as name@host.example."),
        ("secret", "letmein", "What was sent cannot be taken here; send a text of at least 8 characters."),
        ("words", "lead", "'lead' cannot be taken here; send a list of at most 3, each one of: lead, lag."),
        ("inner", 7, "7 cannot be taken here; send an object with the fields: day."),
        ("own", "b", "Write the letter a alone."),
    ],
)
def test_what_was_sent_and_what_would_be_right(name: str, sent: Any, told: str) -> None:
    faults = refused(**{name: sent})[name]
    faults = faults["non_field_errors"] if isinstance(faults, dict) else faults
    assert [str(fault) for fault in faults] == [told]


def test_what_lies_inside_is_told_where_it_lies() -> None:
    right = {"day": "2026-03-01"}
    assert refused(words=["lead", "top"])["words"] == {1: ["'top' cannot be taken here; send one of: lead, lag."]}
    assert refused(inner={})["inner"] == {"day": ["This is missing; send a day, such as 2026-03-01."]}
    told = {"day": ["'soon' cannot be taken here; send a day, such as 2026-03-01."]}
    assert refused(inners=[right, {"day": "soon"}])["inners"] in ([{}, told], {1: told})


def test_a_long_text_is_not_repeated_whole() -> None:
    (told,) = refused(text="x" * 10_000)["text"]
    assert told.startswith("A text of 10000 characters, 'xxx")
    assert len(told) < 200


def test_a_kind_of_field_says_itself_what_it_takes() -> None:
    class Litres(serializers.Field[float, Any, Any, Any]):
        what_it_takes = "litres, such as '5 L'"

    assert what_is_taken(Litres()) == "litres, such as '5 L'"


def test_a_filter_repeats_what_it_cannot_read(as_office: APIClient) -> None:
    answer = as_office.get("/api/v1/visits/?state=bygone")
    (fault,) = answer.json()["errors"]
    assert fault["parameter"] == "state"
    assert fault["detail"].startswith("state: 'bygone' cannot be taken here; send one of: proposed, ")
