"""A company that is founded with the starter catalogue has items of every kind, with all that their labels say."""

import io
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from accounts.models import Company
from fleet.models import CatalogueItem, PartsRule, Stage
from scheduling.company_files.bring_in import ORDER, bring_in
from scheduling.company_files.pages import files_of_directory
from scheduling.company_files.templates import write_templates
from tests import factories


@pytest.fixture
def founded(db: None) -> Company:
    call_command(
        "found_company", "North  Water", "olga@north.example", time_zone="UTC", starter_catalogue=True,
        stdout=io.StringIO(),
    )  # fmt: skip
    return Company.objects.get(name="North Water")


def test_every_kind_is_there_and_nothing_of_a_label_is_assumed(founded: Company) -> None:
    items = CatalogueItem.objects.of_company(founded)
    assert {item.kind for item in items} >= set(Stage.values)
    assert [item.code for item in items if item.assumed] == []
    assert [item.code for item in items if item.supplier_id is not None] == []
    rules = PartsRule.objects.of_company(founded)
    assert {"replace", "rotate", "sanitise"} <= {rule.work for rule in rules}
    assert all(rule.item.company_id == founded.pk for rule in rules)


def test_its_sheets_are_taken_whole_and_twice_change_nothing(founded: Company, settings: Any) -> None:
    owner = factories.MembershipFactory(company=founded, role="owner")
    files = files_of_directory(settings.BASE_DIR / "fixtures" / "starter")
    again = bring_in(by=owner, files=files, now=owner.created_at, is_trial=False)
    assert {row.outcome.value for page in again.pages for row in page.rows} == {"left"}
    assert [remark for page in again.pages for remark in page.remarks] == []


def test_the_example_rows_of_all_templates_can_be_brought_in_together(db: None, tmp_path: Path) -> None:
    owner = factories.MembershipFactory(role="owner")
    factories.MembershipFactory(company=owner.company, role="installer", user__email="ina@water.example")
    files = {}
    for path in write_templates(tmp_path):
        header, _, example = path.read_text(encoding="utf-8").splitlines()
        files[path.name] = f"{header}\n{example.removeprefix('#')}\n".encode()
    outcome = bring_in(by=owner, files=files, now=owner.created_at, is_trial=True)
    refused = [row for page in outcome.pages for row in page.rows if row.outcome.value == "refused"]
    assert [row.remarks for row in refused] == []
    assert {page.sheet for page in outcome.pages if page.rows} == {sheet.name for sheet in ORDER}
