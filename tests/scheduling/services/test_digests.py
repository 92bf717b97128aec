"""The morning letter: once a morning to owner and office who wish so, in the words of what needs attention."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core import mail
from rest_framework.test import APIClient

from accounts.models import Company, Membership
from fleet.models import Finding
from scheduling import tasks
from scheduling.models import Message
from scheduling.services.digests import write_digests
from scheduling.services.people.messages import send_messages
from tests import factories
from tests.scheduling.town import Town

# Nine o'clock in Berlin, where the company of the town has its office.
MORNING = datetime(2026, 3, 3, 8, 0, tzinfo=UTC)


@pytest.fixture
def office(town: Town) -> Membership:
    return factories.MembershipFactory(company=town.company, role="office")


def _letters(company: Company) -> list[Message]:
    return list(Message.objects.of_company(company).filter(kind="digest").order_by("pk"))


def _find(town: Town, sentence: str) -> Finding:
    unit = town.unit()
    unit.site.client.phone = "555 0111"
    unit.site.client.save()
    return Finding.objects.create(
        unit=unit,
        rule="D12",
        cause="product_above_target",
        confidence=0.9,
        opened_at=MORNING,
        last_seen_at=MORNING,
        installer_sentence=sentence,
    )


def test_owner_and_office_read_once_a_morning_what_the_list_says(
    town: Town, office: Membership, as_office: APIClient
) -> None:
    factories.MembershipFactory(company=town.company, role="owner")
    finding = _find(town, "The product water is above its limit.")
    readers = Membership.objects.filter(company=town.company, role__in=("owner", "office"), is_active=True)
    assert write_digests(company=town.company, now=MORNING) == readers.count() >= 2
    assert write_digests(company=town.company, now=MORNING + timedelta(hours=1)) == 0
    letters = _letters(town.company)
    assert {letter.email for letter in letters} == {reader.user.email for reader in readers}
    (body,) = {letter.body for letter in letters}
    listed = as_office.get("/api/v1/attention/").json()["by_kind"]
    for kind in listed:
        for matter in kind["matters"]:
            assert matter["sentence"] in body
            assert matter["settle"]["words"] in body
    assert finding.installer_sentence in body
    assert "555 0111" in body
    assert "Tuesday 3 March" in letters[0].subject
    assert "/attention/" in body
    Company.objects.filter(pk=town.company.pk).update(email="desk@water.example")
    assert send_messages(now=MORNING)["sent"] == len(letters) == len(mail.outbox)
    assert {tuple(letter.reply_to) for letter in mail.outbox} == {("desk@water.example",)}


def test_a_kind_without_a_matter_is_left_out_and_a_long_one_is_counted(town: Town, office: Membership) -> None:
    for number in range(7):
        _find(town, f"Fault number {number}.")
    write_digests(company=town.company, now=MORNING)
    body = _letters(town.company)[0].body
    assert sum(f"Fault number {number}." in body for number in range(7)) == 5
    assert "and 2 more" in body
    assert "Late deliveries" not in body


def test_where_nothing_needs_attention_the_letter_says_so(town: Town, office: Membership) -> None:
    town.unit()
    assert write_digests(company=town.company, now=MORNING) >= 1
    letter = _letters(town.company)[0]
    assert letter.subject.endswith("nothing needs attention")
    assert "Nothing needs attention this morning." in letter.body


@pytest.mark.parametrize("hour", [4, 11, 23])
def test_it_is_written_in_the_morning_of_the_office_alone(town: Town, office: Membership, hour: int) -> None:
    _find(town, "Something.")
    # six o'clock in Berlin is five here, noon is eleven
    assert write_digests(company=town.company, now=MORNING.replace(hour=hour)) == 0
    assert write_digests(company=town.company, now=MORNING.replace(hour=5)) >= 1


def test_a_company_without_units_is_not_written_to(town: Town, office: Membership) -> None:
    assert write_digests(company=town.company, now=MORNING) == 0


def test_who_turns_it_off_gets_none_and_the_others_do(town: Town, as_office: APIClient) -> None:
    town.unit()
    answer = as_office.patch("/api/v1/me/", {"gets_digest": False}, format="json")
    assert answer.status_code == 200, answer.content
    assert answer.json()["membership"]["gets_digest"] is False
    write_digests(company=town.company, now=MORNING)
    emails = {letter.email for letter in _letters(town.company)}
    assert as_office.get("/api/v1/me/").json()["email"] not in emails
    refused = as_office.patch("/api/v1/me/", {"gets_digest": "perhaps", "role": "owner"}, format="json")
    assert refused.status_code == 400
    assert {error["pointer"] for error in refused.json()["errors"]} == {"/gets_digest", "/role"}


def test_who_gets_none_cannot_choose(town: Town, as_installer: APIClient, as_client: APIClient) -> None:
    for api in (as_installer, as_client):
        assert api.patch("/api/v1/me/", {"gets_digest": True}, format="json").status_code == 403
        assert "gets_digest" not in api.get("/api/v1/me/").json()["membership"]


def test_a_letter_that_cannot_be_sent_expires_and_is_on_no_call_list(
    town: Town, office: Membership, settings: Any
) -> None:
    town.unit()
    settings.EMAIL_BACKEND = "tests.scheduling.services.test_digests.NoBackend"
    write_digests(company=town.company, now=MORNING)
    for minutes in range(0, 181, 5):
        send_messages(now=MORNING + timedelta(minutes=minutes))
    assert {letter.state for letter in _letters(town.company)} == {"waiting"}
    send_messages(now=MORNING + timedelta(hours=3, minutes=1))
    assert {letter.state for letter in _letters(town.company)} == {"expired"}


def test_the_task_hands_out_the_companies_where_it_is_morning(
    town: Town, office: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    town.unit()
    factories.CompanyFactory(time_zone="America/Los_Angeles")
    monkeypatch.setattr(tasks.timezone, "now", lambda: MORNING)
    assert tasks.digests() == 1
    assert len(_letters(town.company)) == 1
    assert tasks.write_company_digests(company_id=town.company.pk) == 0
    assert tasks.write_company_digests(company_id=10**9) == 0
