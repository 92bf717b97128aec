"""Existing rows keep their numbers when differential pressure gets its one name."""

from importlib import import_module

from django.apps import apps

from accounts.models import Company
from tests import factories

migration = import_module("fleet.migrations.0021_differential_pressure_in_what_is_stored")


def test_findings_and_lessons_keep_their_numbers_under_the_new_names_and_back(company: Company) -> None:
    old = {"clean_drop_kpa": 21.0, "limit_kpa": 69.0}
    finding = factories.FindingFactory(numbers=old)
    other = factories.FindingFactory(numbers={"recovery": 0.2})
    means = {"clean_drop": 2.6, "drop_noise": 9.0, "inlet_gauge_spread": 20.0}
    lesson = factories.FleetLessonFactory(company=company, learned={"means": means, "hypers": {}})

    migration.forwards(apps, None)
    for row in (finding, other, lesson):
        row.refresh_from_db()
    assert finding.numbers == {"clean_differential_pressure_kpa": 21.0, "limit_kpa": 69.0}
    assert other.numbers == {"recovery": 0.2}
    new = {"clean_differential": 2.6, "differential_noise": 9.0, "inlet_gauge_spread": 20.0}
    assert lesson.learned == {"means": new, "hypers": {}}

    migration.backwards(apps, None)
    finding.refresh_from_db()
    lesson.refresh_from_db()
    assert (finding.numbers, lesson.learned["means"]) == (old, means)
