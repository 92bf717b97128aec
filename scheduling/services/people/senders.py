"""Who carries a message out of the house: the mail server, and for text messages whatever the settings name."""

import re
from typing import Final, Protocol

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.mail import EmailMessage
from django.utils.module_loading import import_string

from accounts.models import Client
from scheduling.models import Message
from scheduling.services.people import words

# Django's own backends that look like sending and reach nobody.
_REACH_NOBODY: Final = frozenset(f"django.core.mail.backends.{name}.EmailBackend" for name in ("console", "dummy"))


class NotSentError(Exception):
    """It was not sent and will not be by trying again; in words that a person may read."""


class TextSender(Protocol):
    """Anything that sends text messages; made without arguments."""

    def send(self, *, number: str, text: str) -> None:
        """Send one text to one number, or raise: what did not raise counts as sent.

        Parameters
        ----------
        number
            As the client's record has it.
        text
            Up to 480 characters, more only where links make it longer: a sender that takes less sends it in parts.
        """
        ...


def text_sender() -> TextSender | None:
    """The sender of the setting TEXT_SENDER; None where none is set up.

    Raises
    ------
    ImproperlyConfigured
        When the setting names no such class.
    """
    if not settings.TEXT_SENDER:
        return None
    try:
        made: TextSender = import_string(settings.TEXT_SENDER)()
    except (ImportError, TypeError) as error:
        raise ImproperlyConfigured(f"TEXT_SENDER is '{settings.TEXT_SENDER}': it cannot be loaded: {error}.") from None
    return made


def address(message: Message, client: Client) -> Message:
    """Say how a message reaches its client: by e-mail, else as a text message where that is set up, else by a call."""
    message.email = client.email
    message.state = Message.State.WAITING
    if not client.email:
        if client.phone and settings.TEXT_SENDER:
            message.text_number = client.phone
        else:
            message.state = Message.State.TO_CALL
    return message


def deliver(message: Message) -> None:
    """Send a message the way it is addressed.

    Raises
    ------
    NotSentError
        When nothing is set up that reaches anybody; what other senders raise means: try again.
    """
    if message.text_number:
        sender = text_sender()
        if sender is None:
            raise NotSentError(words.no_text_sender())
        links = re.findall(r"https?://\S+", message.body)
        sender.send(number=message.text_number, text=words.as_text_message(message, links))
        return
    # a server may write for many companies from one address; who answers writes to theirs
    reply_to = [message.company.email] if message.company.email else None
    # A name in it may have come with a line break, which no header takes.
    subject = " ".join(message.subject.split())
    letter = EmailMessage(subject=subject, body=message.body, to=[message.email], reply_to=reply_to)
    for document in message.documents.all():
        letter.attach(document.name, bytes(document.content), document.media_type)
    letter.send()
    if settings.EMAIL_BACKEND in _REACH_NOBODY:
        raise NotSentError(words.no_mail_server())
