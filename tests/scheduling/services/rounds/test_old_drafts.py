"""A night deletes plans that were never published and are long over, and no others."""

from datetime import timedelta

import pytest

from accounts.models import Company
from scheduling.models import Plan, PurchaseOrder, Round
from scheduling.services.rounds.old_drafts import delete_old_drafts
from scheduling.services.rounds.problem import MOST_DAYS
from tests import factories
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db

OLD = TODAY - timedelta(days=MOST_DAYS + 1)


def test_what_was_never_published_and_is_long_gone_goes_with_all_it_had(company: Company) -> None:
    gone = [
        factories.PlanFactory(company=company, first_day=OLD, state=state)
        for state in (Plan.State.DRAFT, Plan.State.REPLACED)
    ]
    factories.RoundFactory(plan=gone[0], installer__company=company, day=OLD)
    parts = factories.PartsListFactory(company=company, plan=gone[0])
    order = factories.PurchaseOrderFactory(company=company, parts_list=parts)
    kept = [
        factories.PlanFactory(company=company, first_day=OLD + timedelta(days=1)),
        factories.PlanFactory(company=company, first_day=OLD, state=Plan.State.REPLACED, published_at=NOW),
        factories.PlanFactory(first_day=OLD),
    ]
    assert delete_old_drafts(company=company, now=NOW) == len(gone)
    assert set(Plan.objects.all()) == set(kept)
    assert not Round.objects.exists()
    assert PurchaseOrder.objects.get(pk=order.pk).parts_list is None
    assert delete_old_drafts(company=company, now=NOW) == 0
