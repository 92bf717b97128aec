"""Requests that are made up name rows that do not exist; most of their numbers are exchanged for those of rows that do.

So a search gets beyond 404 and "there is no such row".
"""

import re
from typing import Any

from django.apps import apps
from django.urls import resolve

from accounts.models import Company, Membership
from accounts.tenancy import TenantModel


def is_made_up(value: Any) -> bool:
    """Whether a number is to be exchanged: one in five stays, as what does not exist is answered as described, too."""
    return isinstance(value, int) and not isinstance(value, bool) and value % 5 != 0


def ids_of(path: str, membership: Membership) -> list[int]:
    """The rows of an address that the member may see, twenty at most."""
    view = getattr(resolve(re.sub(r"\{\w+\}", "1", path)).func, "cls", None)
    if getattr(view, "queryset", None) is None:
        return []
    return list(view.queryset.all().visible_to(membership).order_by("pk").values_list("pk", flat=True)[:20])


def rows_by_name(company: Company, most: int = 50) -> dict[str, list[int]]:
    """Ids of a company's rows, by the name of their model as bodies name it, as in `access_window`."""
    tenant_models = [model for model in apps.get_models() if issubclass(model, TenantModel)]
    return {
        re.sub(r"(?<!^)(?=[A-Z])", "_", model.__name__).lower(): list(
            model.objects.of_company(company).order_by("pk").values_list("pk", flat=True)[:most]
        )
        for model in tenant_models
    }


def with_rows_that_exist(value: Any, rows: dict[str, list[int]], name: str = "") -> Any:
    """Exchange the numbers under names of models, such as `site` or `units`, wherever they stand in a body."""
    if isinstance(value, dict):
        return {key: with_rows_that_exist(part, rows, str(key)) for key, part in value.items()}
    if isinstance(value, list):
        return [with_rows_that_exist(part, rows, name.removesuffix("s")) for part in value]
    ids = rows.get({"item": "catalogue_item"}.get(name, name))
    return ids[value % len(ids)] if ids and is_made_up(value) else value
