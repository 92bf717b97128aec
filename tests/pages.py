"""A browser of the tests: Django's own client, signed in as a page's member."""

from typing import Any

from django.test import Client
from django.utils import timezone

from accounts.http.browser import SESSION_MEMBERSHIP
from accounts.http.proof import note_proof
from accounts.models import BrowserSession, Membership

HTML = "text/html,application/xhtml+xml,*/*;q=0.8"


def browser(**headers: str) -> Client:
    """A browser of somebody who is not signed in."""
    return Client(headers={"Accept": HTML, **headers})


def signed_in(membership: Membership) -> Client:
    """A browser in which a member is signed in, as at the door."""
    client = browser()
    client.force_login(membership.user)
    session = client.session
    session[SESSION_MEMBERSHIP] = membership.pk
    membership.authenticated_at = timezone.now()
    note_proof(session, membership)
    session.save()
    BrowserSession.objects.create(
        membership=membership,
        session_key=session.session_key,
        device="test",
        signed_in_at=timezone.now(),
        last_used_at=timezone.now(),
    )
    return client


def text_of(response: Any) -> str:
    """The page as text."""
    return str(response.content.decode())
