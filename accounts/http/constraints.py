"""Database constraints in plain words, for the races and rules that only the database can see."""

import re
from typing import Any

from django.apps import apps
from django.db import IntegrityError, models

# Columns the caller never sends: a fault is put to the others.
_IMPLIED = {"company", "membership"}


def explain_integrity_error(error: IntegrityError) -> dict[str, Any]:
    """Give the detail, code and faults of a broken constraint, as keyword arguments for a problem."""
    broken = _constraint(error)
    if broken is None:
        return {"detail": "This conflicts with what is stored.", "code": "conflict"}
    model, constraint = broken
    kind = str(model._meta.verbose_name)
    if isinstance(constraint, models.UniqueConstraint):
        fields = [name for name in constraint.fields if name not in _IMPLIED]
        columns = " and ".join(name.replace("_", " ") for name in fields) or "place"
        detail = f"There is already a {kind} with this {columns}."
        return {
            "detail": detail,
            "code": constraint.name,
            "faults": [{"pointer": f"/{name}", "detail": detail} for name in fields],
        }
    rule = constraint.name.replace("_", " ")
    return {"detail": f"This breaks a rule of every {kind}: {rule}.", "code": constraint.name}


def _constraint(error: IntegrityError) -> tuple[type[models.Model], models.BaseConstraint] | None:
    """Find the model's constraint: PostgreSQL names it; SQLite names a check, and the columns of a unique one."""
    name = getattr(getattr(error.__cause__, "diag", None), "constraint_name", None)
    text = str(error)
    if name is None and (match := re.search(r"CHECK constraint failed: (\w+)", text)):
        name = match[1]
    columns: list[str] = []
    table = ""
    if name is None and (match := re.search(r"UNIQUE constraint failed: (.+)", text)):
        if index := re.match(r"index '(\w+)'", match[1]):
            name = index[1]
        else:
            pairs = [part.strip().split(".") for part in match[1].split(",")]
            table, columns = pairs[0][0], [pair[-1] for pair in pairs]
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            if name is not None and constraint.name == name:
                return model, constraint
            if columns and model._meta.db_table == table and isinstance(constraint, models.UniqueConstraint):
                own = [model._meta.get_field(field).column for field in constraint.fields]  # type: ignore[union-attr]
                if own == columns:
                    return model, constraint
    return None
