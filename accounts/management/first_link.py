"""The link by which an administrator of the server lets somebody in whom no e-mail reaches yet."""

from django.conf import settings

from accounts.models import User
from accounts.services import links


def first_link_of(user: User) -> str:
    """Say where a person chooses their password; whoever has the link can, so it goes to them alone."""
    address = links.address_of(links.PASSWORD + links.password_token(user, proves_address=False) + "/")
    hours = round(settings.PASSWORD_RESET_TIMEOUT / 3600)
    where = "" if settings.PUBLIC_URL else ", on this server,"
    return (
        f"Within {hours} hours {user.email} chooses a password{where} at {address} ('manage.py password_link "
        f"{user.email}' makes another link)."
    )
