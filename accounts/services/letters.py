"""The post of this room: letters wait as rows, and what they say is written in the moment they leave."""

import logging
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from django.core.mail import EmailMessage
from django.db.models import F

from accounts.models import Invitation, Letter, User
from accounts.services import letter_words
from accounts.wall import over_all_companies

if TYPE_CHECKING:
    from accounts.webhooks.models import WebhookEndpoint

log = logging.getLogger(__name__)

MOST_ATTEMPTS: Final = 6
#: The first wait after an attempt that failed; each is twice the one before.
FIRST_WAIT: Final = timedelta(minutes=2)
#: So many letters to one address in an hour, and no more: nobody has the server fill a stranger's mailbox.
MOST_IN_AN_HOUR: Final = 5
KEPT_FOR: Final = timedelta(days=30)


def write_letter(
    *,
    kind: str,
    email: str,
    now: datetime,
    user: User | None = None,
    invitation: Invitation | None = None,
    endpoint: "WebhookEndpoint | None" = None,
) -> Letter:
    """Leave a letter to be sent; call it in the transaction of what it tells of."""
    return Letter.objects.create(
        kind=kind,
        email=email,
        user=user,
        invitation=invitation,
        endpoint=endpoint,
        written_at=now,
        next_attempt_at=now,
    )


@over_all_companies()
def send_letters(*, now: datetime) -> int:
    """Send the letters that wait, and say how many left.

    Each is claimed before it is sent, so that two who do this at once do not both send it. One that fails is tried
    again, later each time. What no longer holds is not sent; one letter too many to the same address waits.
    """
    waiting = Letter.objects.filter(sent_at=None, next_attempt_at__lte=now, attempts__lt=MOST_ATTEMPTS)
    return sum(_send(key, now) for key in waiting.order_by("pk").values_list("pk", flat=True))


def forget_letters(*, now: datetime) -> int:
    """Delete letters that nobody asks about any more, and say how many."""
    deleted, _ = Letter.objects.filter(written_at__lt=now - KEPT_FOR).delete()
    return deleted


def _send(key: int, now: datetime) -> bool:
    rows = Letter.objects.filter(pk=key)
    unsent = rows.filter(sent_at=None, next_attempt_at__lte=now)
    about = ("user", "invitation__company", "invitation__invited_by__user", "endpoint__company")
    letter = unsent.select_related(*about).first()
    if letter is None:
        return False
    pause = FIRST_WAIT * 2**letter.attempts
    if not unsent.update(attempts=F("attempts") + 1, next_attempt_at=now + pause):
        return False
    text = letter_words.text_of(letter, now)
    if text is None:
        rows.delete()
        return False
    lately = Letter.objects.filter(email__iexact=letter.email, sent_at__gt=now - timedelta(hours=1))
    if lately.count() >= MOST_IN_AN_HOUR:
        rows.update(attempts=letter.attempts, next_attempt_at=now + timedelta(hours=1))
        return False
    try:
        # A name in it may have come with a line break, which no header takes.
        EmailMessage(subject=" ".join(text.subject.split()), body=text.body, to=[letter.email]).send()
    except Exception as error:  # whatever a mail server or its library may raise: it is tried again
        log.warning("letter %s was not sent: %s", key, error)
        return False
    rows.update(sent_at=now)
    return True
