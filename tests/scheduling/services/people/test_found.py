"""A leak that somebody sees is told to the office at once, by e-mail and once; what can wait is not."""

from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.utils import timezone

from accounts.models import Company
from fleet.models import Finding, Unit
from scheduling.models import Message
from scheduling.services.people.messages import send_messages
from tests import factories

Caught = Any


@pytest.fixture
def unit(company: Company) -> Unit:
    client = factories.ClientFactory(company=company, name="Hillside Aquaria", phone="555 0100")
    site = factories.SiteFactory(company=company, client=client, name="Harbour tanks", address="3 Quay Lane")
    return factories.UnitFactory(
        company=company, site=site, code="H-7", commissioned_on=(timezone.now() - timedelta(days=200)).date()
    )


def see(api: Any, unit: Unit, hook: Caught, minutes_ago: int = 0, **observations: bool) -> None:
    taken_at = timezone.now() - timedelta(minutes=minutes_ago)
    body = {"taken_at": taken_at.isoformat(), "source": "client", "observations": observations}
    with hook(execute=True):
        answer = api.post(f"/api/v1/units/{unit.pk}/readings/", body, format="json")
    assert answer.status_code == 201, answer.content


def told(unit: Unit) -> list[Message]:
    return list(Message.objects.filter(company=unit.company, kind="found").order_by("pk"))


def test_a_leak_is_mailed_to_the_office_once(
    unit: Unit, as_owner: Any, django_capture_on_commit_callbacks: Caught
) -> None:
    office = factories.MembershipFactory(company=unit.company, role="office")
    factories.MembershipFactory(company=unit.company, role="office", is_active=False)
    see(as_owner, unit, django_capture_on_commit_callbacks, minutes_ago=5, water_on_floor=True)
    see(as_owner, unit, django_capture_on_commit_callbacks, water_on_floor=True)
    (message,) = told(unit)
    assert (message.audience, message.state, message.email) == ("office", "waiting", office.user.email)
    for word in ("Harbour tanks", "H-7", "3 Quay Lane", "Hillside Aquaria", "555 0100"):
        assert word in message.body
    assert send_messages(now=timezone.now())["sent"] == 1
    assert [letter.to for letter in mail.outbox] == [[office.user.email]]
    assert "Harbour tanks" in mail.outbox[0].subject


def test_without_an_office_the_owner_reads_it(
    unit: Unit, as_owner: Any, django_capture_on_commit_callbacks: Caught
) -> None:
    see(as_owner, unit, django_capture_on_commit_callbacks, water_on_floor=True)
    assert [message.email for message in told(unit)] == [
        membership.user.email for membership in unit.company.memberships.filter(role="owner", is_active=True)
    ]


def test_what_can_wait_is_not_mailed(unit: Unit, as_owner: Any, django_capture_on_commit_callbacks: Caught) -> None:
    see(as_owner, unit, django_capture_on_commit_callbacks, unusual_noise=True)
    assert Finding.objects.filter(unit=unit, cause="noise_not_explained", state="open").exists()
    assert told(unit) == []


def test_a_leak_that_was_mended_and_comes_again_is_told_again(
    unit: Unit, as_owner: Any, django_capture_on_commit_callbacks: Caught
) -> None:
    for minutes_ago, leaks in ((10, True), (5, False), (0, True)):
        see(as_owner, unit, django_capture_on_commit_callbacks, minutes_ago, water_on_floor=leaks)
    assert len(told(unit)) == 2
