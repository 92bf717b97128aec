"""What stands in the head of every page: the places that the member's role may go to. Each room adds its own."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from django.urls import reverse

from accounts.language import gettext
from accounts.models import Membership
from accounts.permissions import EVERYONE, allows

if TYPE_CHECKING:
    from accounts.permissions import Roles


@dataclass(frozen=True, slots=True)
class Place:
    """One place.

    Attributes
    ----------
    order
        Where it stands among the others; the first that a role may go to is its start after signing in.
    name
        Of its route, as `reverse` takes it.
    title
        What it is called, marked with `gettext_noop`.
    right
        Resource and action in the table of `accounts.permissions`; whoever may not, does not see it.
    roles
        For whom it is made; others may go there, and have better places.
    """

    order: int
    name: str
    title: str
    right: tuple[str, str]
    roles: "Roles" = EVERYONE


_places: Final[dict[str, Place]] = {}


def add_place(place: Place) -> None:
    """Add a place; called when an app is ready."""
    _places[place.name] = place


def places_for(membership: Membership | None) -> list[Place]:
    """The places that a member may go to, in their order."""
    role = membership.role if membership is not None else None
    open_places = (place for place in _places.values() if role in place.roles and allows(membership, *place.right))
    return sorted(open_places, key=lambda place: place.order)


def navigation_for(membership: Membership | None, path: str) -> list[dict[str, Any]]:
    """The places with their addresses, and whether the page at `path` lies in them."""
    shown = [(place, reverse(place.name)) for place in places_for(membership)]
    return [
        {"title": gettext(place.title), "address": address, "is_here": path.startswith(address)}
        for place, address in shown
    ]


def start_of(membership: Membership) -> str:
    """The address where a member begins: the first place of the role, or else their account."""
    return next((reverse(place.name) for place in places_for(membership)), reverse("account"))
