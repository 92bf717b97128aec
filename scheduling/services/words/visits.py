"""Why a visit was closed or unlocked by another step, as its notes and the trail tell the office."""

from accounts.language import gettext


def tasks_proposed_elsewhere() -> str:
    """The confirmed visit of the site may take the tasks over."""
    return gettext("Its tasks are proposed for the confirmed visit of the site.")


def tasks_on_offer() -> str:
    """The visit that is offered to the client took the tasks over."""
    return gettext("Its tasks went to the visit that is offered to the client.")


def nothing_due() -> str:
    """No task is left."""
    return gettext("Nothing is due here any more.")


def offer_expired() -> str:
    """Nobody chose a time, and another proposal took its place."""
    return gettext("The offer expired; the site has another proposed visit.")


def tasks_handed_over() -> str:
    """Another proposed visit took the tasks over."""
    return gettext("Its tasks went to the other proposed visit of the site.")


def confirmed_otherwise() -> str:
    """A lock gives way to the client."""
    return gettext("another time or installer was confirmed with the client")


def plan_cannot_keep(plan: int) -> str:
    """A lock gives way to a published plan."""
    return gettext("plan {plan} could not keep it").format(plan=plan)
