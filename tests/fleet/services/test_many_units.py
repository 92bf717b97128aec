"""Rows of many units are asked for by the company, and what is said of each unit is the same."""

from datetime import date

import pytest

from accounts.models import Company
from fleet.models import ExhaustionLimits
from fleet.services import many_units
from fleet.services.forecasts import sources
from fleet.services.forecasts.tables import unit_columns
from fleet.services.known import marks_of_units
from fleet.services.limits import limits_of_units
from fleet.services.many_units import ids_to_name
from tests import factories

pytestmark = pytest.mark.django_db

DAY = date(2026, 3, 10)


@pytest.fixture
def units() -> list[int]:
    company = factories.CompanyFactory()
    units = [
        factories.UnitFactory(company=company, use=use, product_tds_target_mg_per_l=target)
        for use, target in (("reef", 2.0), ("reef", 0.0), ("drinking", 50.0), ("reef", 2.0))
    ]
    for unit in units[:3]:
        factories.PositionFactory(unit=unit, stage="resin", role="single", order=1)
        factories.InstrumentFactory(company=company, unit=unit, measures=["product_tds_mg_per_l"], resolution=1.0)
    factories.PositionFactory(unit=units[3], stage="carbon", role="single", order=1)
    ExhaustionLimits.objects.create(company=company, use="drinking", product_tds_mg_per_l=20.0)
    return [unit.pk for unit in units]


def test_what_is_said_of_a_unit_does_not_depend_on_how_it_is_asked_for(
    units: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    company = Company.objects.get()
    asked = [units[0], *units[2:]]

    def told() -> list[object]:
        columns = unit_columns(company, asked)
        marks = marks_of_units(company, asked)
        return [
            limits_of_units(company, asked),
            {pk: marks[pk] for pk in asked},
            sources.marks_of_units(company, asked, DAY),
            columns,
        ]

    assert ids_to_name(company, asked) == asked
    named = told()
    monkeypatch.setattr(many_units, "_FEW", 2)
    assert ids_to_name(company, asked) is None
    assert told() == named
    limits, columns = named[0], named[3]
    assert [limits[pk].product_tds_mg_per_l for pk in asked] == [2.0, 20.0, 2.0]
    assert columns["unit_id"] == asked
    assert columns["tds_resolution_mg_per_l"] == [1.0, 1.0, None]


def test_units_are_named_while_they_are_less_than_half_of_the_company(
    units: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    company = Company.objects.get()
    monkeypatch.setattr(many_units, "_FEW", 1)
    assert ids_to_name(company, units[:1]) == units[:1]
    assert ids_to_name(company, units[:2]) == units[:2]
    assert ids_to_name(company, units[:3]) is None
    monkeypatch.setattr(many_units, "MOST_NAMED", 1)
    assert ids_to_name(company, units[:2]) is None
