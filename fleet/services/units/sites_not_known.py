"""Where a unit stands of which nobody knows yet where, or even whose it is.

Such a unit has a site like every other, so that whoever reads through sites reads it too: one of its own, since units
of which nothing is known share no feed water, and of its client or of 'Client not known'. It is completed like any
site, or left behind when the unit is put where it stands.
"""

from datetime import datetime
from typing import Final

from accounts.language import gettext
from accounts.models import Client, Company, Membership
from accounts.services import record
from accounts.services.retiring import refuse_retired, retire
from fleet.models import Site, Unit

CLIENT_NOT_KNOWN: Final = "Client not known"
"""Name of the client of all that is nobody's yet; renamed, it is a client like any other."""

SITE_NOT_KNOWN: Final = "Site not known"
"""Name of such a site until it is completed."""


def place_not_known(
    *, company: Company, client: Client | None, unit: str, by: Membership | None, now: datetime
) -> Site:
    """Make the site of a unit whose site is not known.

    Parameters
    ----------
    client
        Whose unit it is; None: that is not known either.
    unit
        The unit's code, after which the site is called.
    """
    if client is None:
        client, is_new = Client.objects.get_or_create(company=company, name=CLIENT_NOT_KNOWN)
        if is_new and by is not None:
            record(by=by, action="create client", subject=client, now=now)
    refuse_retired(client, pointer="/client")
    site = Site.objects.create(
        company=company, client=client, code=_free_code(company, unit), name=SITE_NOT_KNOWN, is_known=False
    )
    if by is not None:
        record(by=by, action="create site", subject=site, now=now)
    return site


def is_of_nobody(client: Client) -> bool:
    """Whether a client stands for one that is not known: what leaves them was never theirs."""
    return is_of_nobody_named(client.name)


def is_of_nobody_named(name: str) -> bool:
    """`is_of_nobody` of a client of whom the name is at hand."""
    return name == CLIENT_NOT_KNOWN


def leave_behind(*, site: Site, by: Membership | None, now: datetime) -> None:
    """Take a site that stood for one that was not known out of the lists, once its last unit has left it.

    It is deleted where nothing refers to it, and retired where something does.
    """
    if site.is_known or Unit.objects.filter(site=site).exists():
        return
    if not _is_referred_to(site):
        if by is not None:
            record(by=by, action="delete site", subject=site, now=now)
        site.delete()
    elif by is not None and site.retired_at is None:
        retire(row=site, by=by, reason=gettext("its unit stands elsewhere"), now=now)


def _is_referred_to(site: Site) -> bool:
    return any(
        relation.related_model._base_manager.filter(**{relation.field.name: site}).exists()
        for relation in site._meta.related_objects
    )


def _free_code(company: Company, unit: str) -> str:
    """The unit's code with '-site', and a number where a site is called so already."""
    taken = {code.casefold() for code in Site.objects.of_company(company).values_list("code", flat=True)}
    number = 1
    while (code := f"{unit[:30]}-site{'' if number == 1 else number}").casefold() in taken:
        number += 1
    return code
