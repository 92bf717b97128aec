"""What plans say of their visits keeps its meaning where a kind of difference got another name."""

from importlib import import_module

from django.apps import apps

from accounts.models import Company
from tests import factories

migration = import_module("scheduling.migrations.0018_kinds_of_difference")


def test_stored_differences_get_the_new_names_and_lose_nothing(company: Company) -> None:
    rows = [{"kind": kind, "visit": 7} for kind in ("moved_day", "moved_installer", "retimed")]
    plan = factories.PlanFactory(company=company, differences=rows)
    migration.rename_kinds(apps, None)
    plan.refresh_from_db()
    assert plan.differences == [{"kind": kind, "visit": 7} for kind in ("rescheduled", "reassigned", "retimed")]
    migration.restore_kinds(apps, None)
    plan.refresh_from_db()
    assert plan.differences == rows
