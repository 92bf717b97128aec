"""Sites that belong together or must be kept apart: the rules, and what they say of the visits of a plan."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Company, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.models import Site
from scheduling.models import SitePair, Visit

Rule = SitePair.Rule
#: Keys of two visits.
Pair = tuple[str, str]


@dataclass(frozen=True, slots=True)
class PairedVisits:
    """Visits that one installer makes one after the other, and those that are not made in one round."""

    together: tuple[Pair, ...] = ()
    apart: tuple[Pair, ...] = ()


def pair_sites(
    *, by: Membership, first_site: Site, second_site: Site, rule: str, now: datetime, note: str = ""
) -> SitePair:
    """Lay down that two sites belong together or must be kept apart.

    Raises
    ------
    InvalidInput
        When both are the same site.
    Conflict
        When the two have a rule already, or one of them belongs together with a third.
    """
    if first_site.pk == second_site.pk:
        sentence = "second_site is the same as the first; name another site."
        raise InvalidInput("pair_not_valid", sentence, faults=[Fault("/second_site", sentence)])
    one, other = sorted((first_site, second_site), key=lambda site: site.pk)
    with transaction.atomic():
        lock_company(by.company_id)
        pairs = SitePair.objects.of_company(by.company)
        if pairs.filter(first_site=one, second_site=other).exists():
            raise Conflict("pair_is_known", "These two sites have a rule already; delete that one first.")
        bound = pairs.filter(rule=Rule.TOGETHER)
        if rule == Rule.TOGETHER:
            for site in (one, other):
                if bound.filter(first_site=site).exists() or bound.filter(second_site=site).exists():
                    raise Conflict("site_is_paired", f"{site.name} is paired with another site already.")
        row = SitePair.objects.create(company=by.company, first_site=one, second_site=other, rule=rule, note=note)
        record(by=by, action="pair sites", subject=row, details={"rule": rule}, now=now)
    return row


def paired_visits(*, company: Company, visits: Sequence[Visit]) -> PairedVisits:
    """What the rules of the company say of these visits.

    What was confirmed with a client or locked by a person stands before any rule: such a visit is bound to none, and
    two of them are not kept apart.
    """
    at: dict[int, list[Visit]] = {}
    for visit in visits:
        at.setdefault(visit.site_id, []).append(visit)
    together, apart = [], []
    for pair in SitePair.objects.of_company(company).filter(first_site__in=at, second_site__in=at):
        options = list(itertools.product(at[pair.first_site_id], at[pair.second_site_id]))
        if pair.rule == Rule.APART:
            apart += [_keys(a, b) for a, b in options if not (_is_settled(a) and _is_settled(b))]
        else:
            together += [_keys(a, b) for a, b in options if not (_is_settled(a) or _is_settled(b))][:1]
    return PairedVisits(tuple(together), tuple(apart))


def _keys(one: Visit, other: Visit) -> Pair:
    return str(one.pk), str(other.pk)


def _is_settled(visit: Visit) -> bool:
    return visit.state == Visit.State.CONFIRMED or visit.locked_start is not None
