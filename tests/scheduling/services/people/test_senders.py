"""How a message leaves: by e-mail, as a text message, or by a call; what reaches nobody is never called sent."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.core.mail.backends.console import EmailBackend as Console

from accounts.models import Client
from scheduling.models import Message, Visit
from scheduling.services.people import senders
from scheduling.services.people.messages import send_messages
from scheduling.services.visits.visits import offer_visit
from tests import factories
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

HERE = "tests.scheduling.services.people.test_senders"
SENT: list[tuple[str, str]] = []


class Texts:
    """Keeps what it is given."""

    def send(self, *, number: str, text: str) -> None:
        SENT.append((number, text))


class Broken:
    """Has no connection."""

    def send(self, *, number: str, text: str) -> None:
        raise TimeoutError("no answer")


@pytest.fixture
def offered(town: Town, office: Any, settings: Any) -> Visit:
    """A visit that can be offered, to a client of whom only the telephone is known."""
    SENT.clear()
    settings.PUBLIC_URL = "https://water.example"
    town.installer("Ada")
    town.company.phone = "555 0199"
    town.company.save()
    run_night(town, sites=1)
    Client.objects.update(email="", phone="+49 30 5550123")
    return Visit.objects.select_related("site__client", "site__company").get()


def _offer(visit: Visit, by: Any) -> Message:
    opens = (NOW + timedelta(days=2)).replace(hour=9, minute=0)
    windows = [(opens + timedelta(days=day), opens + timedelta(days=day, hours=1)) for day in (0, 1)]
    offer_visit(visit=visit, by=by, windows=windows, now=NOW)
    return Message.objects.get(visit=visit, kind="offered")


def test_without_e_mail_and_text_messages_the_office_calls(offered: Visit, office: Any) -> None:
    message = _offer(offered, office)
    assert (message.state, message.email, message.text_number) == ("to_call", "", "")
    assert send_messages(now=NOW) == {"sent": 0, "put_off": 0, "to_call": 0, "to_read": 0, "expired": 0}


def test_a_text_message_says_what_when_and_where_to_answer(offered: Visit, office: Any, settings: Any) -> None:
    settings.TEXT_SENDER = f"{HERE}.Texts"
    message = _offer(offered, office)
    assert (message.state, message.text_number) == ("waiting", "+49 30 5550123")
    assert send_messages(now=NOW)["sent"] == 1
    ((number, text),) = SENT
    assert number == "+49 30 5550123"
    assert text.startswith(f"{offered.company.name}: ")
    assert "555 0199" in text
    (link,) = [word for word in message.body.split() if word.startswith("https://")]
    assert link in text
    assert len(text) - len(link) < 480
    assert "Hello" not in text


def test_who_has_an_e_mail_address_gets_e_mail(offered: Visit, office: Any, settings: Any, mailoutbox: Any) -> None:
    settings.TEXT_SENDER = f"{HERE}.Texts"
    Client.objects.update(email="post@quay.example")
    offered.site.client.refresh_from_db()
    message = _offer(offered, office)
    assert (message.email, message.text_number) == ("post@quay.example", "")
    assert send_messages(now=NOW)["sent"] == 1
    assert SENT == []
    assert len(mailoutbox) == 1


def test_a_sender_that_fails_is_tried_again(offered: Visit, office: Any, settings: Any) -> None:
    settings.TEXT_SENDER = f"{HERE}.Broken"
    message = _offer(offered, office)
    assert send_messages(now=NOW)["put_off"] == 1
    message.refresh_from_db()
    assert (message.state, message.trouble) == ("waiting", "TimeoutError: no answer")


def test_where_the_sender_is_gone_the_office_calls(offered: Visit, office: Any, settings: Any) -> None:
    settings.TEXT_SENDER = f"{HERE}.Texts"
    message = _offer(offered, office)
    settings.TEXT_SENDER = ""
    assert send_messages(now=NOW)["to_call"] == 1
    message.refresh_from_db()
    assert message.state == "to_call"
    assert "nothing that sends text messages" in message.trouble


def test_what_is_printed_to_the_terminal_is_not_sent(
    offered: Visit, office: Any, settings: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.EMAIL_BACKEND = f"{Console.__module__}.{Console.__name__}"
    Client.objects.update(email="post@quay.example")
    offered.site.client.refresh_from_db()
    message = _offer(offered, office)
    assert send_messages(now=NOW) == {"sent": 0, "put_off": 0, "to_call": 1, "to_read": 0, "expired": 0}
    assert offered.site.name in capsys.readouterr().out
    message.refresh_from_db()
    assert (message.state, message.sent_at) == ("to_call", None)
    assert "No mail server" in message.trouble


def test_the_office_reads_here_what_was_not_sent_to_it(offered: Visit, settings: Any) -> None:
    settings.EMAIL_BACKEND = f"{Console.__module__}.{Console.__name__}"
    message = factories.MessageFactory(
        company=offered.company, audience="office", kind="digest", state="waiting", email="o@north.example"
    )
    Message.objects.filter(pk=message.pk).update(next_attempt_at=NOW, useful_until=None)
    send_messages(now=NOW)
    message.refresh_from_db()
    assert message.state == "to_read"


@pytest.mark.parametrize("name", ["nowhere.Texts", f"{HERE}.Nobody"])
def test_a_sender_that_is_not_there_is_named(settings: Any, name: str) -> None:
    settings.TEXT_SENDER = name
    with pytest.raises(ImproperlyConfigured, match="TEXT_SENDER is"):
        senders.text_sender()
