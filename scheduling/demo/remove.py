"""Takes one company out of the records, and nothing else."""

from collections.abc import Iterable

from django.apps import apps
from django.db import models, transaction

from accounts.models import AccessToken, Company, Membership, User
from accounts.tenancy import TenantModel
from accounts.wall import over_all_companies


@over_all_companies()
@transaction.atomic
def remove_company(company: Company) -> int:
    """Delete a company with all its rows, and the people who belong to no other company; says how many rows went.

    Rows that protect others go before those they protect, so the order follows the references between the models.
    """
    people = list(Membership.objects.of_company(company).values_list("user_id", flat=True))
    removed, _ = AccessToken.objects.filter(membership__company=company).delete()
    for model in _dependents_first(model for model in apps.get_models() if issubclass(model, TenantModel)):
        rows = model.objects.of_company(company)
        for field in _references_to_itself(model):
            # A subquery by id, since a join cannot stand in an UPDATE.
            ids = list(rows.filter(**{f"{field}__isnull": False}).values_list("pk", flat=True))
            model.objects.filter(pk__in=ids).update(**{field: None})
        removed += rows.delete()[0]
    company.delete()
    User.objects.filter(pk__in=people, memberships__isnull=True, is_staff=False, is_superuser=False).delete()
    return removed


def _dependents_first(tenant_models: Iterable[type[models.Model]]) -> list[type[TenantModel]]:
    """Order models so that each comes before every model it refers to."""
    waiting = {model: _refers_to(model) for model in tenant_models}
    out: list[type[models.Model]] = []
    while waiting:
        referred = {target for targets in waiting.values() for target in targets}
        free = [model for model in waiting if model not in referred]
        if not free:
            names = ", ".join(sorted(model.__name__ for model in waiting))
            raise RuntimeError(f"These models refer to each other in a circle: {names}.")
        for model in sorted(free, key=lambda model: model.__name__):
            out.append(model)
            del waiting[model]
    return out  # type: ignore[return-value]


def _refers_to(model: type[models.Model]) -> set[type[models.Model]]:
    """Models whose rows hold on to it; a reference that is emptied with its target holds nothing."""
    fields = [field for field in model._meta.get_fields() if isinstance(field, models.ForeignKey)]
    targets = {field.related_model for field in fields if field.remote_field.on_delete is not models.SET_NULL}
    return {target for target in targets if isinstance(target, type) and target is not model}


def _references_to_itself(model: type[models.Model]) -> list[str]:
    fields = [field for field in model._meta.get_fields() if isinstance(field, models.ForeignKey)]
    return [field.name for field in fields if field.related_model is model and field.null]
