"""Whose sites and units were before, which says who of their clients reads what happened there."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any, Final

from accounts.errors import DomainError
from accounts.models import Client, Company
from fleet.models import PastOwnership, Site, Unit
from fleet.services.units.past_ownerships import enter_ownership, share_with_units
from scheduling.company_files.columns import Column
from scheduling.company_files.outcome import Outcome
from scheduling.company_files.rows import Bringing, Row, RowRefusedError, find_named
from scheduling.company_files.sheet import Sheet

Ownership = tuple[Client, Site | None, Unit | None, datetime | None, datetime | None]
"""Client, site, unit, since and until."""


def _store_ownership(row: Row, bringing: Bringing) -> Outcome:
    values = row.values
    if bool(values.get("site")) == bool(values.get("unit")):
        raise RowRefusedError([("site", "Name a site or a unit, and not both: a unit that moved has rows of its own")])
    kind: Any = Site if values.get("site") else Unit
    held = _named(kind, values.get("site") or values.get("unit"), "site" if kind is Site else "unit", bringing)
    client = _named(Client, values.get("client", ""), "client", bringing)
    moments = {name: _moment(values.get(name)) for name in ("since", "until")}
    try:
        outcome = enter_ownership(held=held, client=client, by=bringing.by, now=bringing.now, **moments)
    except DomainError as error:
        faults = [(fault.pointer.strip("/"), fault.sentence) for fault in error.faults]
        raise RowRefusedError(faults or [("", error.sentence)]) from None
    return Outcome(outcome)


def _named(model: Any, name: Any, field: str, bringing: Bringing) -> Any:
    found = find_named(model.objects.of_company(bringing.company), str(name))
    if found is None:
        raise RowRefusedError([(field, f"There is no {field} '{str(name)[:60]}'")])
    return found


def _moment(text: Any) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def share_pasts(rows: Iterable[Row], bringing: Bringing) -> None:
    """Let the units of the sites that some rows speak of share their past, but those with rows of their own."""
    named: dict[str, set[int]] = {"site": set(), "unit": set()}
    for row in rows:
        for (name, keys), model in zip(named.items(), (Site, Unit), strict=True):
            found = find_named(model.objects.of_company(bringing.company), str(row.values.get(name, "")))
            keys.update([found.pk] if found is not None else [])
    share_with_units(sites=named["site"], but=named["unit"])


def ownerships_of(company: Company) -> Iterator[Ownership]:
    """Times with all that passed on: first of the sites, past ones before the present one.

    A unit that has been its client's from the start, at a site that has not, is told of too.
    """
    pasts: dict[tuple[str, int], list[PastOwnership]] = {}
    for past in PastOwnership.objects.of_company(company).select_related("client").order_by("until", "pk"):
        held = ("site", past.site_id) if past.site_id is not None else ("unit", past.unit_id or 0)
        pasts.setdefault(held, []).append(past)
    for site in Site.objects.of_company(company).select_related("client").order_by("code", "pk"):
        before = pasts.get(("site", site.pk), [])
        yield from ((past.client, site, None, past.since, past.until) for past in before)
        if before or site.client_since is not None:
            yield site.client, site, None, site.client_since, None
    for unit in Unit.objects.of_company(company).select_related("site__client").order_by("code", "pk"):
        before = pasts.get(("unit", unit.pk), [])
        yield from ((past.client, None, unit, past.since, past.until) for past in before)
        if before or unit.client_since is not None or unit.site.client_since is not None:
            yield unit.site.client, None, unit, unit.client_since, None


OWNERSHIPS: Final = Sheet(
    "ownerships",
    "whose a site or a unit was before; only of those that passed from one client to another",
    (
        Column("client", "text", "whose it was", also="customer, owner", is_needed=True, example="Example Cafe"),
        Column("site", "text", "the site's code; its units share its past", also="site code, site no", example="S01"),
        Column("unit", "text", "or a unit's code, where it came or went without its site", also="unit code, unit no"),
        Column("since", "moment", "since when; empty: from the start", also="from, owner since"),
        Column(
            "until",
            "moment",
            "when it passed to the next client; empty: it is theirs now",
            also="to, owner until, passed on",
            example="2025-03-01",
        ),
    ),
    _store_ownership,
    named_by=("unit", "site", "client"),
    also=("ownership", "former clients", "former owners"),
    needs=(("client",), ("site", "unit"), ("until",)),
)
