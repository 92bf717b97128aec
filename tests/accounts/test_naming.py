"""Rows by what people call them."""

import pytest

from accounts.models import Client, Company
from accounts.naming import NotNamedError, row_named
from fleet.models import Finding, Position, Stage, Unit
from tests import factories


def named(rows: object, text: str) -> object:
    return row_named(rows, text)  # type: ignore[arg-type]


def test_a_code_is_found_in_any_case_and_the_exact_one_wins(company: Company) -> None:
    site = factories.SiteFactory(company=company)
    lower = factories.UnitFactory(company=company, site=site, code="a-1")
    upper = factories.UnitFactory(company=company, site=site, code="A-1")
    other = factories.UnitFactory(company=company, site=site, code="B-1")
    units = Unit.objects.of_company(company)
    assert named(units, "b-1") == other
    assert (named(units, "a-1"), named(units, "A-1")) == (lower, upper)
    with pytest.raises(NotNamedError, match="unknown"):
        named(units, "unknown")


def test_two_that_differ_by_case_are_not_guessed_at(company: Company) -> None:
    site = factories.SiteFactory(company=company)
    for code in ("Ab-1", "AB-1"):
        factories.UnitFactory(company=company, site=site, code=code)
    with pytest.raises(NotNamedError, match=r"'ab-1' may be '(Ab|AB)-1' or '(Ab|AB)-1'"):
        named(Unit.objects.of_company(company), "ab-1")


def test_the_nearest_name_is_suggested_and_never_another_companys(company: Company) -> None:
    factories.ClientFactory(company=company, name="Harbour Cafe")
    factories.ClientFactory(company=factories.CompanyFactory(), name="Harbor Cafe")
    with pytest.raises(NotNamedError) as refused:
        named(Client.objects.of_company(company), "Harbor Cafe")
    assert str(refused.value).endswith("Did you mean 'Harbour Cafe'?")


@pytest.mark.parametrize(
    ("text", "order"),
    [("U-1/2", 2), ("u-1/membrane", 3), ("U-1/resin/lead", 4), ("U-1/Resin/LAG", 5), ("U-1/sediment", 1)],
)
def test_a_position_is_named_by_its_unit_and_stage(company: Company, text: str, order: int) -> None:
    unit = factories.UnitFactory(company=company, code="U-1", kind=Unit.Kind.RO_DI)
    roles = Position.Role
    train = [
        (Stage.SEDIMENT, roles.SINGLE),
        (Stage.CARBON, roles.SINGLE),
        (Stage.MEMBRANE, roles.SINGLE),
        (Stage.RESIN, roles.LEAD),
        (Stage.RESIN, roles.LAG),
    ]
    Position.objects.filter(unit=unit).delete()
    for place, (stage, role) in enumerate(train, start=1):
        Position.objects.create(unit=unit, order=place, stage=stage, role=role)
    position = row_named(Position.objects.of_company(company), text)
    assert position.order == order
    assert row_named(Position.objects.of_company(company), position.spoken_name) == position
    with pytest.raises(NotNamedError, match="'U-1/resin/lead' or 'U-1/resin/lag'"):
        named(Position.objects.of_company(company), "U-1/resin")


@pytest.mark.parametrize("text", ["", "/", "//", "resin/lead", "\x00", "U-1\x00", "x" * 400, "9" * 30, "U-1/999999999"])
def test_nonsense_is_refused_with_a_sentence(company: Company, text: str) -> None:
    factories.UnitFactory(company=company, code="U-1")
    for rows in (Unit.objects.of_company(company), Position.objects.of_company(company)):
        with pytest.raises(NotNamedError, match=r"\w"):
            named(rows, text)


def test_what_has_no_code_is_named_by_its_id(company: Company) -> None:
    with pytest.raises(NotNamedError, match="No text names the finding; give its id, a number"):
        named(Finding.objects.of_company(company), "leak")
