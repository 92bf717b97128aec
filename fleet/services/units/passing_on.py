"""Sites and units pass from one client to another at a moment; the former client keeps their own time."""

from collections.abc import Sequence
from datetime import datetime

from accounts.errors import InvalidInput
from accounts.models import Client, Membership
from accounts.services import record
from fleet.models import AccessException, PastOwnership, Site, Unit
from fleet.services.units.sites_not_known import is_of_nobody


def pass_site_on(*, site: Site, client: Client, since: datetime | None, by: Membership | None, now: datetime) -> None:
    """Give a site with its units to another client from `since`, now when left out.

    Runs in the transaction of the caller, who stores the row of the site itself.

    Raises
    ------
    InvalidInput
        When the moment lies ahead, or before the present client took over the site or one of its units.
    """
    if is_of_nobody(site.client):
        refuse_time_alone(since)
        site.client = client
        return
    units = list(Unit.objects.filter(site=site).order_by("pk").select_for_update(no_key=True))
    moment = _moment_of_passing([site, *units], since, now)
    former = site.client
    PastOwnership.objects.create(
        company_id=site.company_id, client=former, site=site, since=site.client_since, until=moment
    )
    for unit in units:
        _pass(unit, former, moment)
    site.client, site.client_since = client, moment
    # What was noted of closed days is the former client's affair; the hours themselves stay.
    AccessException.objects.filter(site=site).exclude(reason="").update(reason="")
    _tell(site, former, client, moment, by, now)


def move_unit(*, unit: Unit, site: Site, since: datetime | None, by: Membership | None, now: datetime) -> None:
    """Move a unit to another site; where that is another client's, it passes to them from `since`, now when left out.

    Raises
    ------
    InvalidInput
        As `pass_site_on`.
    """
    former = unit.site.client
    unit.site = site
    if site.client_id == former.pk or is_of_nobody(former):
        refuse_time_alone(since)
        return
    moment = _moment_of_passing([unit], since, now)
    _pass(unit, former, moment)
    _tell(unit, former, site.client, moment, by, now)


def carry_over(unit: Unit) -> None:
    """Let a unit that is entered at a site share the site's past, for its readings may be older than the entry."""
    if unit.client_since is not None or unit.site.client_since is None:
        return
    Unit.objects.filter(pk=unit.pk).update(client_since=unit.site.client_since)
    unit.client_since = unit.site.client_since
    PastOwnership.objects.bulk_create(
        PastOwnership(
            company_id=past.company_id, client_id=past.client_id, unit=unit, since=past.since, until=past.until
        )
        for past in PastOwnership.objects.filter(site=unit.site_id)
    )


def refuse_time_alone(since: datetime | None) -> None:
    """Refuse a moment of passing without a client it passes to.

    Raises
    ------
    InvalidInput
        Pointing at the moment.
    """
    if since is not None:
        raise InvalidInput(
            "passes_to_nobody",
            "client_since says when it passes to another client: send it with that client, or leave it out.",
            pointer="/client_since",
        )


def _moment_of_passing(rows: Sequence[Site | Unit], since: datetime | None, now: datetime) -> datetime:
    moment = since if since is not None else now
    if moment > now:
        raise InvalidInput(
            "passes_in_the_future",
            "It cannot pass to another client at a time to come; send this on that day, or give a time until now.",
            pointer="/client_since",
        )
    for row in rows:
        if row.client_since is not None and moment <= row.client_since:
            raise InvalidInput(
                "passed_before_it_was_theirs",
                f"{row.spoken_name} passed to its present client at {row.client_since.isoformat()}; "
                "it can pass to the next one only after that.",
                pointer="/client_since",
            )
    return moment


def _pass(unit: Unit, former: Client, moment: datetime) -> None:
    PastOwnership.objects.create(
        company_id=unit.company_id, client=former, unit=unit, since=unit.client_since, until=moment
    )
    unit.client_since = moment
    unit.save(update_fields=["client_since"])


def _tell(
    row: Site | Unit, former: Client, client: Client, moment: datetime, by: Membership | None, now: datetime
) -> None:
    if by is not None:
        details = {"from_client": former.pk, "to_client": client.pk, "since": moment.isoformat()}
        record(by=by, action=f"pass on {row._meta.model_name}", subject=row, now=now, details=details)
