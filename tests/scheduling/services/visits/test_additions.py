"""What the night would add to a confirmed visit: proposed, accepted or declined, and the client told of it."""

from datetime import datetime, timedelta

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.language import speak
from accounts.models import AuditEntry, Client, Membership
from fleet.models import Unit
from scheduling.models import Message, Need, Visit, VisitAddition
from scheduling.services.needs.needs import add_need, refresh_needs
from scheduling.services.visits.additions import accept_additions, decline_additions
from scheduling.services.visits.visits import confirm_visit, propose_visits, unconfirm_visit
from tests.pseudo_language import PSEUDO, english_in
from tests.scheduling.town import NOW, Town

TUESDAY_AT_TEN = datetime(2026, 3, 3, 9, 0, tzinfo=NOW.tzinfo)  # ten o'clock in Berlin


@pytest.fixture
def unit(town: Town, first_client: Client) -> Unit:
    Client.objects.filter(pk=first_client.pk).update(name="Reef House", email="reef@house.example")
    first_client.refresh_from_db()
    return town.unit(town.site(client=first_client, name="Reef House", address="Quay 3"))


@pytest.fixture
def visit(town: Town, unit: Unit, office: Membership) -> Visit:
    """Confirmed for Tuesday at ten: a shut-off valve, 15 minutes to come and go and 40 of work."""
    town.installer("Ada")
    town.finding(unit, "shutoff_valve_fault")
    _night(town)
    visit = confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=TUESDAY_AT_TEN, now=NOW)
    # told by the hour: 55 minutes are about one hour
    assert (visit.minutes, visit.confirmed_minutes, visit.confirmed_units) == (55, 60, [unit.pk])
    return visit


def _night(town: Town, now: datetime = NOW) -> None:
    refresh_needs(company=town.company, now=now)
    propose_visits(company=town.company, now=now)


def _labels(visit: Visit) -> list[str]:
    return [task.need.label for task in Visit.objects.get(pk=visit.pk).tasks.all()]


def _told(kind: str) -> Message:
    return Message.objects.get(kind=kind)


def test_what_falls_due_is_proposed_with_its_minutes_parts_and_reason(town: Town, unit: Unit, visit: Visit) -> None:
    clip = town.small_part("clip", work="replace")
    gloves = town.small_part("gloves", per="visit")
    town.forecast(town.position(unit, "carbon"), 0)
    town.forecast(town.position(unit, "sediment"), 0)
    _night(town)
    assert _labels(visit) == ["automatic shut-off valve"]
    additions = list(VisitAddition.objects.all())
    assert [(row.need.label, row.minutes, row.state) for row in additions] == [
        ("sediment filter", 12, "proposed"),
        ("carbon", 12, "proposed"),
    ]
    # gloves are taken once for a visit, and the visit takes them anyway
    assert [row.parts for row in additions] == [
        sorted(
            [{"item": town.item(stage).pk, "quantity": 1}, {"item": clip.pk, "quantity": 1}],
            key=lambda part: str(part["item"]),
        )
        for stage in ("sediment", "carbon")
    ]
    assert gloves.pk not in {part["item"] for row in additions for part in row.parts}
    assert all("EUR" in row.reason for row in additions)
    assert not Visit.objects.filter(state="proposed").exists()


def test_the_office_reads_once_what_is_proposed_and_the_client_nothing(town: Town, unit: Unit, visit: Visit) -> None:
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    before = list(VisitAddition.objects.values())
    _night(town, NOW + timedelta(hours=1))
    assert list(VisitAddition.objects.values()) == before
    message = _told("more_work")
    assert (message.audience, message.state) == ("office", "to_read")
    assert message.body == (
        f"Reef House (visit {visit.pk}): on the confirmed visit of Tuesday 3 March, between 10:00 and 11:00 we could "
        "also replace the carbon filter, in 12 more minutes; accept or decline it."
    )
    assert not Message.objects.filter(audience="client").exclude(kind="confirmed").exists()
    town.forecast(town.position(unit, "sediment"), 0)
    _night(town, NOW + timedelta(hours=2))
    assert Message.objects.filter(kind="more_work").count() == 2
    assert "replace the sediment filter, in 12" in Message.objects.filter(kind="more_work").latest("pk").body


def test_an_addition_that_is_accepted_becomes_a_task_and_the_client_is_told_that_it_takes_longer(
    town: Town, unit: Unit, visit: Visit, office: Membership
) -> None:
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    accepted = accept_additions(visit=visit, by=office, now=NOW)
    assert _labels(visit) == ["automatic shut-off valve", "carbon"]
    assert list(accepted.tasks.values_list("order", flat=True)) == [1, 2]
    assert all(task.reason for task in accepted.tasks.all())
    assert (accepted.minutes, accepted.confirmed_minutes, accepted.revision) == (55 + 12, 75, 2)
    assert not VisitAddition.objects.exists()
    assert AuditEntry.objects.latest("pk").action == "accept additions"
    message = _told("extended")
    assert (message.audience, message.email) == ("client", "reef@house.example")
    assert message.body == (
        "Hello Reef House,\n\n"
        "at our visit to Reef House, Quay 3 on Tuesday 3 March, between 10:00 and 11:00 we will also replace the "
        "carbon filter.\n\n"
        "The work will take about 1 hour 15 minutes instead of 1 hour.\n\n"
        f"If this does not suit you, please tell us as early as you can.\n\n{town.company.name}\n"
    )
    rows = list(Visit.objects.values())
    _night(town, NOW + timedelta(hours=1))
    assert list(Visit.objects.values()) == rows


@pytest.mark.parametrize(("minutes", "told"), [(5, False), (6, True)])
def test_the_client_hears_only_of_what_is_longer_than_they_were_told(
    town: Town, unit: Unit, visit: Visit, office: Membership, minutes: int, told: bool
) -> None:
    town.forecast(town.position(unit, "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    Need.objects.filter(label="carbon").update(minutes=minutes)
    propose_visits(company=town.company, now=NOW)
    accept_additions(visit=visit, by=office, now=NOW)
    assert Message.objects.filter(kind="extended").exists() is told


def test_the_client_is_told_of_another_unit_that_must_be_reached(
    town: Town, unit: Unit, visit: Visit, office: Membership
) -> None:
    other_unit = town.unit(unit.site)
    town.forecast(town.position(other_unit, "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    Need.objects.filter(label="carbon").update(minutes=5)
    propose_visits(company=town.company, now=NOW)
    accepted = accept_additions(visit=visit, by=office, now=NOW)
    assert accepted.confirmed_units == sorted([unit.pk, other_unit.pk])
    body = _told("extended").body
    assert f"Please make sure that we can reach the unit {other_unit.code} too." in body
    assert "instead of" not in body


def test_the_messages_are_wholly_in_the_language_that_is_spoken(
    town: Town, unit: Unit, visit: Visit, office: Membership
) -> None:
    other_unit = town.unit(unit.site)
    town.forecast(town.position(other_unit, "carbon"), 0)
    with speak(PSEUDO):
        _night(town)
        accept_additions(visit=visit, by=office, now=NOW)
    for message in Message.objects.filter(kind__in=("more_work", "extended")):
        facts = ("Reef House", "Quay 3", other_unit.code, town.company.name)
        assert english_in(message.subject, *facts) + english_in(message.body, *facts) == []
    assert Message.objects.filter(kind__in=("more_work", "extended")).count() == 2


def test_some_are_accepted_and_the_others_wait(town: Town, unit: Unit, visit: Visit, office: Membership) -> None:
    town.forecast(town.position(unit, "carbon"), 0)
    town.forecast(town.position(unit, "sediment"), 0)
    _night(town)
    accept_additions(visit=visit, by=office, needs=[Need.objects.get(label="carbon")], now=NOW)
    _night(town, NOW + timedelta(hours=1))
    assert _labels(visit) == ["automatic shut-off valve", "carbon"]
    assert [row.need.label for row in VisitAddition.objects.all()] == ["sediment filter"]


def test_what_is_declined_goes_on_a_visit_of_its_own_for_good(
    town: Town, unit: Unit, visit: Visit, office: Membership
) -> None:
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    decline_additions(visit=visit, by=office, note="The client has no time.", now=NOW)
    for hours in (1, 2):
        _night(town, NOW + timedelta(hours=hours))
        own_visit = Visit.objects.get(state="proposed")
        assert _labels(own_visit) == ["carbon"]
        assert _labels(visit) == ["automatic shut-off valve"]
    row = VisitAddition.objects.get()
    assert (row.state, row.declined_by, row.declined_at) == ("declined", office, NOW)
    assert AuditEntry.objects.latest("pk").details["note"] == "The client has no time."


def test_an_addition_goes_when_nothing_is_due_any_more(town: Town, unit: Unit, visit: Visit) -> None:
    carbon = town.position(unit, "carbon")
    town.forecast(carbon, 0)
    _night(town)
    assert VisitAddition.objects.exists()
    carbon.forecasts.all().delete()
    _night(town)
    assert not VisitAddition.objects.exists()


def test_a_time_given_back_takes_the_additions_into_the_next_proposal(
    town: Town, unit: Unit, visit: Visit, office: Membership
) -> None:
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    back = unconfirm_visit(visit=visit, by=office, note="", now=NOW)
    assert (back.confirmed_minutes, back.confirmed_units) == (None, [])
    _night(town)
    assert set(_labels(visit)) == {"carbon", "automatic shut-off valve"}
    assert not VisitAddition.objects.exists()


def test_an_addition_that_runs_past_the_shift_is_refused(
    town: Town, unit: Unit, visit: Visit, office: Membership
) -> None:
    # the shift ends at 17:00 in Berlin, five minutes after the 55 minutes of the visit
    confirm_visit(visit=visit, by=office, appointment_at=TUESDAY_AT_TEN.replace(hour=15), now=NOW)
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    with pytest.raises(Conflict, match="67 minutes") as error:
        accept_additions(visit=visit, by=office, now=NOW)
    assert error.value.code == "additions_do_not_fit"
    assert _labels(visit) == ["automatic shut-off valve"]
    assert Visit.objects.get().minutes == 55


def test_needs_that_are_not_proposed_are_refused_by_place(
    town: Town, unit: Unit, visit: Visit, office: Membership
) -> None:
    with pytest.raises(Conflict, match="Nothing is proposed"):
        accept_additions(visit=visit, by=office, now=NOW)
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    elsewhere = add_need(by=office, unit=town.unit(), kind="inspect", reason="Asked for.", now=NOW)
    carbon = Need.objects.get(label="carbon")
    for decide in (accept_additions, decline_additions):
        with pytest.raises(InvalidInput) as error:
            decide(visit=visit, by=office, needs=[carbon, elsewhere], now=NOW)
        assert [fault.pointer for fault in error.value.faults] == ["/needs/1"]
        with pytest.raises(InvalidInput) as error:
            decide(visit=visit, by=office, needs=[], now=NOW)
        assert [fault.pointer for fault in error.value.faults] == ["/needs"]
    Visit.objects.filter(pk=visit.pk).update(state="on_the_way")
    with pytest.raises(Conflict, match="confirmed visits only"):
        accept_additions(visit=visit, by=office, now=NOW)
