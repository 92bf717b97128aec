"""The company's policy: its departures from the defaults, merged, checked and changed.

Two layers answer as one flat table: prices, risks and times (`scheduling.planning.policy`) and intervals, chances and
what each kind of work asks for (`scheduling.planning.company_rules`).
"""

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.errors import Fault, InvalidInput, NotAllowed
from accounts.models import Company, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.models import Unit
from fleet.services.consequences import Kind, announce
from scheduling.models import CompanyPolicy
from scheduling.planning.company_rules import CompanyRules, ServicePolicy
from scheduling.planning.errors import PlanningError
from scheduling.planning.policy import Policy

_RULE_FIELDS = frozenset(f.name for f in fields(CompanyRules))


def read_settings(*, company: Company) -> dict[str, Any]:
    """What the company has set."""
    row = CompanyPolicy.objects.of_company(company).first()
    return dict(row.settings) if row is not None else {}


def read_policy(*, company: Company) -> ServicePolicy:
    """The company's policy: what it has set, and the defaults for the rest."""
    return merge_policy(settings=read_settings(company=company), currency=company.currency)


def merge_policy(*, settings: Mapping[str, Any], currency: str) -> ServicePolicy:
    """Lay settings over the defaults.

    Raises
    ------
    InvalidInput
        With a pointer to each setting that is unknown, of the wrong type or out of range.
    """
    faults: list[Fault] = []
    sound = dict(settings)
    left_out: list[str] = []
    while True:
        try:
            policy = _policy_of(sound, currency)
        except PlanningError as error:
            sentence = f"{error.field} {error.message}"
            # what does not fit a default in the place of a setting at fault is no fault of its own
            if not any(name in error.message for name in left_out):
                faults.append(Fault("/" + error.field.replace(".", "/"), sentence))
            name = error.field.partition(".")[0]
            if name in sound:
                left_out.append(name)
                del sound[name]
                continue
        if faults:
            raise InvalidInput("policy_not_valid", faults[0].sentence, faults=faults)
        return policy


def _policy_of(settings: Mapping[str, Any], currency: str) -> ServicePolicy:
    return ServicePolicy(
        rules=CompanyRules.from_mapping({k: v for k, v in settings.items() if k in _RULE_FIELDS}),
        planning=Policy.from_mapping(
            {k: v for k, v in settings.items() if k not in _RULE_FIELDS} | {"currency": currency}
        ),
    )


def changed_settings(*, settings: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Settings with changes laid over them; one given as None goes back to its default.

    Raises
    ------
    InvalidInput
        When the currency is among the changes.
    """
    if "currency" in changes:
        sentence = "currency belongs to the company, not to its policy; change it there."
        raise InvalidInput("policy_not_valid", sentence, faults=[Fault("/currency", sentence)])
    return {name: value for name, value in {**settings, **changes}.items() if value is not None}


def change_policy(*, company: Company, by: Membership, changes: Mapping[str, Any], now: datetime) -> ServicePolicy:
    """Change some settings; a setting given as None goes back to its default. Needs and proposed visits follow.

    Raises
    ------
    NotAllowed
        When the acting member is not an owner of this company.
    InvalidInput
        When a setting is unknown, of the wrong type or out of range; nothing is changed then.
    """
    if by.company_id != company.pk or by.role != Membership.Role.OWNER:
        raise NotAllowed("owner_only", "Only an owner of the company may change its policy.")
    with transaction.atomic():
        lock_company(company.pk)
        row, _ = CompanyPolicy.objects.get_or_create(company=company)
        before = dict(row.settings)
        settings = changed_settings(settings=before, changes=changes)
        policy = merge_policy(settings=settings, currency=company.currency)
        if settings != before:
            row.settings = settings
            row.save(update_fields=["settings", "updated_at"])
            changed = {
                name: {"old": before.get(name), "new": settings.get(name)}
                for name in sorted(changes)
                if before.get(name) != settings.get(name)
            }
            units = Unit.objects.of_company(company).order_by("pk").values_list("pk", flat=True)
            announce(company.pk, units=units, kind=Kind.POLICY, now=now)
            record(by=by, action="change policy", subject=row, details={"changes": changed}, now=now)
    return policy
