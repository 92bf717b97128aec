"""Which company is the demo's, and for which day it was made: an entry in the company's own trail says so."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from accounts.models import AuditEntry, Company, Membership
from accounts.services import record
from accounts.wall import over_all_companies

ACTION: Final = "load demo scenario"


@dataclass(frozen=True)
class Remembered:
    """The demo company, the day it stands at, the seed it was made with, and the member who loads its logs."""

    company: Company
    owner: Membership
    as_of: date
    seed: int


@over_all_companies()
def find() -> Remembered | None:
    """The demo company of this database, if there is one."""
    entry = AuditEntry.objects.filter(action=ACTION).select_related("company").order_by("-at", "-pk").first()
    if entry is None:
        return None
    owner = Membership.objects.of_company(entry.company).filter(role=Membership.Role.OWNER).order_by("pk").first()
    if owner is None:
        return None
    details = entry.details
    return Remembered(entry.company, owner, date.fromisoformat(details["as_of"]), int(details["seed"]))


def note(*, owner: Membership, as_of: date, seed: int, now: datetime) -> None:
    """Write down what was loaded."""
    record(by=owner, action=ACTION, subject=owner.company, details={"as_of": as_of.isoformat(), "seed": seed}, now=now)
