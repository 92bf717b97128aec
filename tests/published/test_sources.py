"""Every reference check says where its number is from, in a form a stranger can follow, and is tight enough."""

import re
from pathlib import Path

import pytest

from tests.published.test_engineering_checks import rows

FORMULAS = Path(__file__).parents[2] / "fleet" / "engineering"
MODULES = {path.stem for path in FORMULAS.rglob("*.py")} | {path.name for path in FORMULAS.rglob("*") if path.is_dir()}
BY_HAND = re.compile(r"worked by hand from the formula in (?P<module>\w+)( \(.+\))?(; .+)?")
FORMS = (
    BY_HAND,
    re.compile(r"exact definition \(.+\)"),
    re.compile(r"common practice, no source( \(.+\))?"),
    re.compile(r"regression, computed by this project .*on \d{4}-\d\d-\d\d.*"),
    re.compile(r"computed with (phreeqpython|pyEQL|iapws|scipy|pint) \d+\.\d+\S*( .+)?"),
    re.compile(r"(ISO \d+:\d{4}|ASTM D\d+-\d\d\S*|JCGM \d+:\d{4}|40 CFR \d+\.\d+)(, .+)?"),
    re.compile(r"WHO, .+ \(WHO/[\w/.]+\)"),
    re.compile(r".+, doi:10\.\d{4,}/\S+"),
    re.compile(r".+\d.*, from memory( \(.+\))?"),
    re.compile(r"CRC Handbook, .+, from memory"),
)
# What nobody can follow, wherever it stands in a row.
NO_SOURCE = re.compile(r"\bread in\b|\bpages?\b|\btrade\b|\bhobby\b|\bmaker|\btext read\b|\bcopies agree\b|\w\.md\b")
LARGEST_SHARE = 0.15
LARGEST_OF_A_LOGARITHM = 0.06
LOGARITHMS = {"langelier_index", "concentrate_langelier_index", "concentrate_gypsum_saturation_index"}


def fault(row: dict[str, str]) -> str:
    """What is wrong with the source or the tolerance of a row; empty when nothing is."""
    source = row["source"]
    if not any(form.fullmatch(source) for form in FORMS):
        return f"'{source}' is none of the forms of a source"
    if (by_hand := BY_HAND.fullmatch(source)) and by_hand["module"] not in MODULES:
        return f"there is no module {by_hand['module']} in fleet/engineering"
    if vague := NO_SOURCE.search(f"{source} {row['note']}"):
        return f"'{vague[0]}' leads nowhere"
    if not re.fullmatch(r"[-+.\de]+", row["expected"]):
        return ""
    expected = abs(float(row["expected"]))
    allowed = max(float(row["rel_tol"] or 0.0) * expected, float(row["abs_tol"] or 0.0))
    largest = LARGEST_OF_A_LOGARITHM if row["quantity"] in LOGARITHMS else LARGEST_SHARE * (expected or 1.0)
    return "" if 0.0 < allowed <= largest else f"a tolerance of {allowed:g} on {expected:g} is no check"


@pytest.mark.parametrize("row", [pytest.param(row, id=row["id"]) for row in rows()])
def test_a_row_names_its_source_and_is_tight(row: dict[str, str]) -> None:
    assert fault(row) == ""


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"source": "trade pages"}, "none of the forms"),
        ({"source": "ISO 7888:1985, read in an instrument maker's manual"}, "leads nowhere"),
        ({"source": "worked by hand from the formula in a_module_that_is_not"}, "no module"),
        ({"note": "validity rule of engineering.md"}, "leads nowhere"),
        ({"rel_tol": "0.75"}, "no check"),
        ({"rel_tol": ""}, "no check"),
    ],
)
def test_a_row_that_leads_nowhere_is_found(changed: dict[str, str], says: str) -> None:
    good = {"quantity": "x", "expected": "2.0", "rel_tol": "0.01", "abs_tol": "", "source": "40 CFR 143.3", "note": ""}
    assert fault(good) == ""
    assert says in fault(good | changed)


@pytest.mark.parametrize("path", sorted(FORMULAS.rglob("*.py")), ids=lambda path: path.stem)
def test_the_code_names_no_source_that_leads_nowhere(path: Path) -> None:
    vague = re.findall(
        r".*(?:\bread in an?\b|\btrade (?:pages?|association)\b|\bmaker's\b|\w\.md\b).*", path.read_text()
    )
    assert vague == []
