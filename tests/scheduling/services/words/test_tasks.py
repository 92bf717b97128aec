"""What is to be done is called by its kind and by what it is done to, in whichever language is spoken."""

import pytest

from accounts.language import gettext, speak
from fleet.engineering import cautions
from scheduling.models import Need
from scheduling.services.words.tasks import task_at_unit, task_named, task_text
from tests import factories
from tests.pseudo_language import PSEUDO, english_in

pytestmark = pytest.mark.django_db


def a_need(**values: object) -> Need:
    unit = values.pop("unit", None) or factories.UnitFactory(code="U1")
    need: Need = factories.NeedFactory(unit=unit, **values)
    return need


def test_a_task_names_its_cartridge_by_stage_and_place_in_the_pair() -> None:
    position = factories.PositionFactory(stage="resin", role="lead")
    need = a_need(kind="replace", label="", unit=position.unit, position=position)
    assert task_text(need) == "replace cartridge: lead resin"
    item = factories.CatalogueItemFactory(code="RES-9")
    at_unit = a_need(kind="sanitise", label="tank and housings", item=item, position=None)
    assert task_named(at_unit) == "sanitise (tank and housings)"
    assert task_at_unit(at_unit) == "U1: sanitise (tank and housings), with RES-9"
    whole = a_need(kind="inspect", label="unit", item=None, unit=at_unit.unit)
    assert task_at_unit(whole) == "U1: inspect and take readings"


def test_it_is_told_in_the_language_that_is_spoken() -> None:
    item, unit = factories.CatalogueItemFactory(code="R9"), factories.UnitFactory(code="U1")
    needs = [a_need(kind=kind, label="tank and housings", item=item, unit=unit) for kind in Need.Kind.values]
    all_cautions = [
        text for name, text in vars(cautions).items() if name.isupper() and isinstance(text, str) and "{" not in text
    ]
    with speak(PSEUDO):
        texts = [text(need) for need in needs for text in (task_text, task_named, task_at_unit)]
        texts += map(gettext, all_cautions)
    assert len(all_cautions) > 10
    assert not [text for text in texts if english_in(text, "U1", "R9")]
