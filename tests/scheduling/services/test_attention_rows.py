"""What is likely exhausted soon: as planning says of each need, and what is kept is what would be read now."""

from datetime import timedelta

import pytest
from django.db import connection

from fleet.models import CatalogueItem, Finding, Forecast, Unit
from scheduling.models import Need
from scheduling.services.attention import needs_attention
from scheduling.services.attention_rows import read_likely
from scheduling.services.needs.costs import all_exhausted_by
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.needs.reading import with_dates
from scheduling.services.needs.waiting import cost_of_a_week
from tests.scheduling.town import NOW, RO_DI_TRAIN, TODAY, Town


@pytest.fixture
def worn(town: Town) -> Unit:
    unit = town.unit(train=RO_DI_TRAIN)
    for number, (stage, role) in enumerate((("sediment", "single"), ("membrane", "single"), ("resin", "lead"))):
        town.forecast(town.position(unit, stage, role), 3 + 6 * number)
    refresh_needs(company=town.company, now=NOW)
    return unit


def test_the_probabilities_and_costs_are_those_of_the_needs_as_objects(town: Town, worn: Unit) -> None:
    day = TODAY + timedelta(days=14)
    needs = Need.objects.filter(forecast__isnull=False, state=Need.State.OPEN)
    rows = list(with_dates(needs).order_by("pk"))
    expected = [
        (need.pk, risk, cost_of_a_week(need, day=TODAY))
        for need, risk in zip(rows, all_exhausted_by(rows, today=TODAY, day=day), strict=True)
        if risk is not None and risk >= 0.2
    ]
    found = read_likely(needs, today=TODAY, day=day, risk=0.2)
    assert [(one.pk, one.probability, one.cost_of_waiting) for one in found] == expected
    assert expected


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_whatever_is_changed_behind_its_back_is_seen(town: Town, worn: Unit) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("elsewhere nothing is kept")

    def shown() -> str:
        kinds = needs_attention(company=town.company, now=NOW)
        return repr([(m.sentence, m.probability, m.cost_of_waiting, m.unit) for kind in kinds for m in kind.matters])

    seen = [shown()]
    assert shown() == seen[0]
    need = Need.objects.filter(forecast__isnull=False, item__isnull=False).earliest("pk")
    changes = [
        lambda: Unit.objects.filter(pk=worn.pk).update(code="Renamed"),
        lambda: CatalogueItem.objects.filter(pk=need.item_id).update(code="Other"),
        lambda: Forecast.objects.filter(pk=need.forecast_id).update(date_grid=[]),
        lambda: Need.objects.filter(pk=need.pk).update(state=Need.State.DROPPED),
        lambda: Need.objects.all().delete(),
    ]
    for change in changes:
        change()
        seen.append(shown())
    assert len(set(seen)) >= len(seen) - 1
    assert not Finding.objects.exists()
