"""Erasing a person: everything of a client that tells who they are goes, and the technical history stays.

What was measured, found and fitted teaches the forecasts of other units, so its rows stay, at a client, a site and
units that have a number for a name. Names, addresses, telephone numbers, notes, door codes, signatures, pictures,
letters and the accounts of the client's people go, also where other rows quote them.
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, Final

from django.db import transaction
from django.db.models import Model, Q

from accounts.dates import long_day
from accounts.errors import Conflict, InvalidInput
from accounts.jobs.models import Job, JobChunk
from accounts.models import (
    AccessToken,
    AuditEntry,
    BrowserSession,
    Client,
    Invitation,
    Letter,
    Membership,
    StoredAnswer,
    User,
)
from accounts.services import record
from accounts.tenancy import TenantModel
from accounts.wall import over_all_companies
from accounts.webhooks.models import WebhookDelivery
from fleet.models import (
    AccessException,
    AccessWindow,
    FeedWaterSample,
    Finding,
    Forecast,
    Instrument,
    IntakeBatch,
    PassedOn,
    Placement,
    Reading,
    RefusedRow,
    Site,
    Supplier,
    Unit,
    UploadPiece,
)
from fleet.services.consequences import Kind, announce
from scheduling.models import (
    Absence,
    CalendarFeed,
    Delivery,
    Invoice,
    InvoiceLine,
    Message,
    Need,
    PartsLine,
    Plan,
    PurchaseOrder,
    PurchaseOrderLine,
    ReadingPhoto,
    ServiceContract,
    ServicePhoto,
    ServiceRecord,
    SitePair,
    StockMovement,
    Stop,
    UnservedVisit,
    Visit,
    VisitAddition,
    VisitTask,
)

ERASED: Final = "erased"
"""What stands where something was quoted; with its number, the name of what needs one."""

BLANKED: Final[Mapping[type[TenantModel], tuple[str, ...]]] = {
    Client: ("email", "phone", "notes", "retired_reason"),
    Site: ("address", "access_notes", "retired_reason"),
    Unit: ("name", "notes", "retired_reason"),
    Instrument: ("retired_reason",),
    Reading: ("person", "note", "reference", "void_reason"),
    FeedWaterSample: ("measured_by", "method", "reference", "void_reason"),
    Placement: ("void_reason",),
    Finding: ("decision_note",),
    Need: ("label", "reason"),
    Visit: ("closing_note", "lock_reason"),
    VisitTask: ("outcome_reason",),
    ServiceRecord: ("confirmed_by", "note", "void_reason"),
}
"""Texts that people wrote, or that speak of people; they are emptied. Of needs, those that a person asked for."""

RENAMED: Final[Mapping[type[TenantModel], tuple[str, ...]]] = {
    Client: ("name",),
    Site: ("code", "name"),
    Unit: ("code",),
    Instrument: ("name",),
    ServiceRecord: ("reference",),
}
"""Texts that must be there; a number takes their place."""

DELETED: Final[tuple[type[Model], ...]] = (
    Invitation,
    Letter,
    CalendarFeed,
    Message,
    ServicePhoto,
    ReadingPhoto,
    AccessException,
    AccessWindow,
    AccessToken,
    BrowserSession,
    Membership,
    StoredAnswer,
    RefusedRow,
    UploadPiece,
    SitePair,
)
"""Rows that are nothing without the person, or hold no more than was sent."""

QUOTING: Final[Mapping[type[TenantModel], tuple[str, ...]]] = {
    AuditEntry: ("subject_name", "details"),
    WebhookDelivery: ("body", "trouble"),
    Job: ("parameters", "doing", "result", "problem"),
    JobChunk: ("payload", "result"),
    IntakeBatch: ("name",),
    Supplier: ("notes",),
    Finding: ("numbers", "confirming_check", "action", "caution", "installer_sentence", "client_sentence"),
    Forecast: ("evidence", "installer_sentence", "client_sentence"),
    Need: ("label", "reason", "missing_part"),
    Visit: ("reason",),
    VisitTask: ("reason",),
    VisitAddition: ("reason",),
    Absence: ("reason",),
    Message: ("subject", "body", "trouble", "call_note"),
    Plan: ("faults", "happened", "differences"),
    Stop: ("day_reason", "place_reason"),
    UnservedVisit: ("reason", "sentence"),
    PartsLine: ("reasons", "sentence"),
    PurchaseOrder: ("note",),
    PurchaseOrderLine: ("wanted_for", "sentence"),
    Delivery: ("reference", "note", "void_reason"),
    StockMovement: ("reason",),
    ServiceContract: ("name",),
}
"""Texts of other things, in which the client may be named; only the names are taken out."""

KEPT: Final[Mapping[type[TenantModel], tuple[str, ...]]] = {
    Invoice: ("bill_to_name", "bill_to_address", "reason"),
    InvoiceLine: ("site_name", "unit_code", "label", "free_because"),
}
"""Texts that stay although they tell who the client is: books have to be kept whole, for as long as the local law on
taxes says; erasing ends where that duty begins. (Article 17 (3) (b) of the European regulation on data protection makes
that exception; from memory. Whether it applies is for the company and its adviser to say.)"""

_IDENTIFYING: Final[Mapping[type[TenantModel], tuple[str, ...]]] = {
    Client: ("name", "email", "phone"),
    Site: ("code", "name", "address"),
    Unit: ("code", "name"),
    Membership: ("name", "user__email"),
}
_SHORTEST_WORD: Final = 3


@dataclass(frozen=True, slots=True)
class Erased:
    """How much was erased."""

    sites: int
    units: int
    people: int
    pictures: int
    letters: int
    rows: int
    invoices: int


def erase_client(*, client: Client, name: str, by: Membership, now: datetime) -> Erased:
    """Erase everything that tells who a client is, and take their sites and units out of use.

    Raises
    ------
    InvalidInput
        When `name` is not the client's: nobody erases by a slip.
    Conflict
        While somebody counts on a visit, or when the client was erased before.
    """
    with transaction.atomic():
        Client.objects.select_for_update().get(pk=client.pk)
        _refuse(client, name)
        rows = {model: _keys(model, client) for model in dict.fromkeys([*BLANKED, *RENAMED])}
        words = _identifying_words(client, rows)
        memberships = list(Membership.objects.filter(client=client).select_related("user"))
        Visit.objects.filter(pk__in=rows[Visit], state=Visit.State.PROPOSED).delete()
        letters = Message.objects.filter(Q(client=client) | Q(visit__in=rows[Visit]))
        pictures = [model.objects.filter(model.of_own_time(client.pk)) for model in (ServicePhoto, ReadingPhoto)]
        erased = Erased(
            sites=len(rows[Site]),
            units=len(rows[Unit]),
            people=len(memberships),
            pictures=sum(kind.count() for kind in pictures),
            letters=letters.count(),
            rows=sum(len(keys) for keys in rows.values()),
            invoices=Invoice.objects.filter(client=client).count(),
        )
        letters.delete()
        invitations = _delete_invitations(client, memberships)
        CalendarFeed.objects.filter(client=client).delete()
        for kind in pictures:
            _delete_pictures(kind)
        AccessException.objects.filter(site__in=rows[Site]).delete()
        AccessWindow.objects.filter(site__in=rows[Site]).delete()
        SitePair.objects.filter(Q(first_site__in=rows[Site]) | Q(second_site__in=rows[Site])).delete()
        _end_contracts(client, now)
        written = _blank(rows, now, by)
        members = [membership.pk for membership in memberships]
        _delete_people(memberships, rows[Unit])
        _forget_answers(client.company_id, written, words)
        _clear_trail(client, rows, {"membership": members, "invitation": invitations})
        _sweep(client.company_id, client.pk, words)
        left = Client.objects.get(pk=client.pk)
        record(by=by, action="erase client", subject=left, details={"rows": erased.rows}, now=now)
        announce(client.company_id, units=rows[Unit], kind=Kind.UNIT, now=now)
    return erased


def _refuse(client: Client, name: str) -> None:
    if client.name == f"{ERASED}-{client.pk}":
        raise Conflict("erased_already", "This client was erased already; nothing of them is left.")
    if name.strip() != client.name:
        raise InvalidInput(
            "name_differs",
            f"Erasing cannot be taken back: send the client's name, '{client.name}', to say that you mean this one.",
            pointer="/name",
        )
    visits = Visit.objects.filter(Visit.of_client(client.pk), state__in=(*Visit.KNOWN_TO_CLIENT,))
    open_visits = [
        f"{visit.pk} ({visit.get_state_display()}"
        + (f", {long_day(visit.appointment_at.date(), year=True)})" if visit.appointment_at else ")")
        for visit in visits.order_by("pk")[:5]
    ]
    if open_visits:
        raise Conflict(
            "visits_open",
            f"Somebody counts on visits to this client: {', '.join(open_visits)}. Cancel each (POST "
            "/api/v1/visits/<id>/cancel/) or report it done, then erase.",
        )


def _keys(model: type[TenantModel], client: Client) -> list[int]:
    """Keys of the client's own rows: of what is theirs now, and of what happened in their own time."""
    rows = model._base_manager.filter(**{model.TENANT_PATH: client.company_id})
    of_own_time: Any = getattr(model, "of_own_time", model.of_client)
    return sorted(set(rows.filter(of_own_time(client.pk)).values_list("pk", flat=True)))


def _identifying_words(client: Client, rows: Mapping[type[TenantModel], list[int]]) -> list[str]:
    """Texts that name the client or what is theirs, and nobody and nothing else of the company; the longest first."""
    words: dict[str, str] = {}
    others: set[str] = set()
    for model, fields in _IDENTIFYING.items():
        own = set(rows[model]) if model in rows else set(client.memberships.values_list("pk", flat=True))
        every = model._base_manager.filter(**{model.TENANT_PATH: client.company_id})
        for key, *texts in every.values_list("pk", *fields):
            for text in texts:
                if key in own and len(text) >= _SHORTEST_WORD:
                    words[text.casefold()] = text
                elif key not in own:
                    others.add(text.casefold())
    return sorted((text for folded, text in words.items() if folded not in others), key=len, reverse=True)


def _blank(rows: Mapping[type[TenantModel], list[int]], now: datetime, by: Membership) -> set[str]:
    """Empty and rename what tells of people; give the texts that stood there."""
    written: set[str] = set()
    today = by.company.day_at(now)
    retired = {"retired_at": now, "retired_by": by}
    for model, keys in rows.items():
        blanked, named = BLANKED.get(model, ()), RENAMED.get(model, ())
        asked = {"source": Need.Source.PERSON} if model is Need else {}
        own = model._base_manager.filter(pk__in=keys, **asked)
        for key, *texts in own.values_list("pk", *blanked, *named):
            written |= set(texts)
            if named:
                model._base_manager.filter(pk=key).update(**dict.fromkeys(named, f"{ERASED}-{key}"))
        if blanked:
            own.update(**dict.fromkeys(blanked, ""))
    for model in (Client, Site, Unit, Instrument):
        model._base_manager.filter(pk__in=rows[model], retired_at=None).update(**retired)
    Unit.objects.filter(pk__in=rows[Unit], retired_on=None).update(retired_on=today)
    Site.objects.filter(pk__in=rows[Site]).update(latitude=None, longitude=None)
    ServiceRecord._base_manager.filter(pk__in=rows[ServiceRecord]).update(confirmed_at=None)
    for report in ServiceRecord._base_manager.filter(pk__in=rows[ServiceRecord]):
        notes = {work["note"] for work in report.work if work.get("note")}
        if notes:
            written |= notes
            report.work = [{**work, "note": ""} if "note" in work else work for work in report.work]
            report.save(update_fields=["work"])
    return {text for text in written if len(text) >= _SHORTEST_WORD}


def _end_contracts(client: Client, now: datetime) -> None:
    """Ask for no flat price of a time to come; one that was to begin later never does."""
    today = client.company.day_at(now)
    contracts = ServiceContract.objects.filter(client=client)
    contracts.filter(starts_on__gt=today, invoiced=None).delete()
    contracts.filter(Q(ends_on=None) | Q(ends_on__gt=today), starts_on__lte=today).update(ends_on=today)


def _delete_pictures(pictures: Any) -> None:
    """Delete rows, and their files once that is stored."""
    for photo in pictures:
        transaction.on_commit(partial(photo.file.storage.delete, photo.file.name))
    pictures.delete()


def _delete_invitations(client: Client, memberships: Iterable[Membership]) -> list[int]:
    """Delete what was written to the client's people, and to those who were to become some; the keys that went."""
    of_client = Invitation.objects.filter(company=client.company_id, client=client)
    addresses = {membership.user.email.lower() for membership in memberships} | set(
        of_client.values_list("email", flat=True)
    )
    invitations = Invitation.objects.filter(Q(client=client) | Q(email__in=addresses), company=client.company_id)
    keys = list(invitations.values_list("pk", flat=True))
    Letter.objects.filter(email__in=addresses).delete()
    invitations.delete()
    return keys


def _delete_people(memberships: Iterable[Membership], units: list[int]) -> None:
    """End the access of the client's people, and of meters at what was theirs; who is elsewhere stays there."""
    AccessToken.objects.filter(meter_unit_id__in=units).delete()
    for membership in memberships:
        user = membership.user
        membership.delete()
        with over_all_companies():
            is_elsewhere = Membership.objects.filter(user=user).exists()
        if not is_elsewhere:
            User.objects.filter(pk=user.pk).delete()


def _forget_answers(company_id: int, written: set[str], words: list[str]) -> None:
    """Drop kept answers, refused rows of files, and files that wait to be read, that hold what was erased."""
    pattern = _pattern(words)
    for answer in StoredAnswer.objects.filter(company=company_id, status__isnull=False).iterator(chunk_size=200):
        text = bytes(answer.body).decode(errors="replace")
        try:
            leaves = set(_texts(json.loads(text)))
        except ValueError:
            leaves = {text}
        if leaves & written or (pattern and any(pattern.search(leaf) for leaf in leaves)):
            answer.delete()
    for refused in RefusedRow.objects.filter(batch__company=company_id).iterator(chunk_size=500):
        leaves = {*_texts(refused.row), *_texts(refused.faults)}
        if leaves & written or (pattern and any(pattern.search(leaf) for leaf in leaves)):
            refused.delete()
    # A file that waits to be read goes as a whole: half of it would be read as something else.
    for piece in UploadPiece.objects.filter(batch__company=company_id).iterator(chunk_size=10):
        text = bytes(piece.content).decode(errors="replace")
        if any(leaf in text for leaf in written) or (pattern and pattern.search(text)):
            UploadPiece.objects.filter(batch=piece.batch_id).delete()


def _clear_trail(client: Client, rows: Mapping[type[TenantModel], list[int]], people: Mapping[str, list[int]]) -> None:
    """Keep who did what and when, and drop what it was about the person."""
    own = {model._meta.model_name: {str(key) for key in keys} for model, keys in rows.items()}
    own |= {kind: {str(key) for key in keys} for kind, keys in people.items()}
    for entry in AuditEntry.objects.filter(company=client.company_id).iterator(chunk_size=500):
        if entry.subject_id in own.get(entry.subject_kind, ()):
            AuditEntry.objects.filter(pk=entry.pk).update(details={}, subject_name=f"{ERASED}-{entry.subject_id}")


def _sweep(company_id: int, client_id: int, words: list[str]) -> None:
    """Take the identifying words out of whatever else quotes them, in texts and in what is kept as JSON."""
    pattern = _pattern(words)
    if pattern is None:
        return
    for model, columns in QUOTING.items():
        rows = model._base_manager.filter(**{model.TENANT_PATH: company_id})
        if issubclass(model, PassedOn) and not model.IS_PERSONAL:
            # What is said of one unit names no other.
            rows = rows.filter(model.of_client(client_id))
        for row in rows.values("pk", *columns).iterator(chunk_size=500):
            changed = {
                name: _without(row[name], pattern)
                for name in columns
                if any(pattern.search(text) for text in _texts(row[name]))
            }
            if changed:
                model._base_manager.filter(pk=row["pk"]).update(**changed)


def _pattern(words: list[str]) -> re.Pattern[str] | None:
    if not words:
        return None
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, words))})(?!\w)", re.IGNORECASE)


def _texts(value: Any) -> Iterator[str]:
    """The texts in a JSON value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for each in value.values():
            yield from _texts(each)
    elif isinstance(value, list):
        for each in value:
            yield from _texts(each)


def _without(value: Any, pattern: re.Pattern[str]) -> Any:
    """The same without the words."""
    if isinstance(value, str):
        return pattern.sub(ERASED, value)
    if isinstance(value, Mapping):
        return {key: _without(each, pattern) for key, each in value.items()}
    return [_without(each, pattern) for each in value] if isinstance(value, list) else value
