"""A rule says all of itself, and nobody else keys anything by its number."""

import ast
import re
from pathlib import Path

import pytest

from fleet.engineering.diagnosis import CAUSES, CONTEXT_KEYS, RULES, NoWork, Rule, Work, diagnose
from fleet.engineering.diagnosis.record import STEPS
from fleet.engineering.purposes import PURPOSES
from fleet.forecasting.inputs.vocabulary import ROLES, STAGES
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.needs.work import work_for
from tests.fleet.engineering.diagnosis.test_rules import HEALTHY, PATTERNS

ROOT = Path(__file__).parents[4]
RECORDS = ROOT / "fleet/engineering/diagnosis/rules"
CONDITIONS = ROOT / "fleet/engineering/diagnosis/conditions"
SENTENCES = ("title", "pattern", "confirm", "action", "source", "for_installer", "for_client")
rules = pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)


def literals(path: Path) -> list[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)]


def product_files() -> list[Path]:
    files = [path for room in ("accounts", "fleet", "scheduling") for path in (ROOT / room).rglob("*.py")]
    return [path for path in files if RECORDS not in path.parents]


def test_no_rule_is_named_by_its_number_outside_its_record() -> None:
    numbers = re.compile(r"[A-Z]\d\d")
    assert all(numbers.fullmatch(rule.id) for rule in RULES)
    assert len(product_files()) > 300
    ids = {rule.id for rule in RULES}
    named = {str(path.relative_to(ROOT)): ids.intersection(literals(path)) for path in product_files()}
    assert {path: codes for path, codes in named.items() if codes} == {}


def test_no_cause_is_named_by_its_code_outside_the_records() -> None:
    # a condition bears the name of what it looks for
    elsewhere = [path for path in product_files() if CONDITIONS not in path.parents]
    named = {str(path.relative_to(ROOT)): set(CAUSES).intersection(literals(path)) for path in elsewhere}
    assert {path: codes for path, codes in named.items() if codes} == {}


def test_each_rule_stands_once_and_in_the_order_of_work() -> None:
    assert len({rule.id for rule in RULES}) == len({rule.pattern for rule in RULES}) == len(RULES)
    assert {rule.id for rule in RULES} == {rule for rule, _, _ in PATTERNS}
    assert [rule.step for rule in RULES] == sorted((rule.step for rule in RULES), key=STEPS.index)


@rules
def test_a_rule_says_all_of_itself(rule: Rule) -> None:
    assert all(getattr(rule, name) for name in SENTENCES)
    assert rule.causes
    assert set(rule.doubts) <= set(STEPS)
    for sentence in (rule.for_installer, rule.for_client, rule.confirm, rule.action, *rule.cautions):
        assert sentence == sentence.strip()
        assert sentence.endswith(".")
    if rule.must_be_seen_twice or rule.passes_with_season or rule.outdated_by:
        assert rule.asks, "of a rule that no stored reading answers it means nothing"


@rules
def test_what_a_rule_asks_can_be_read(rule: Rule) -> None:
    asked_facts = {name for ask in (*rule.asks, *rule.asks_behind_lag) for name in ask}
    assert asked_facts <= set(CONTEXT_KEYS)
    assert all(rule.asks)
    assert all(rule.asks_behind_lag)
    if rule.asks_behind_lag:
        assert set(rule.asks_behind_lag) < set(rule.asks)
    if rule.can_rest_on_product_alone:
        assert ("product_tds_mg_per_l",) in rule.asks


@rules
def test_a_rule_speaks_of_stages_and_roles_that_exist(rule: Rule) -> None:
    assert set(rule.outdated_by) <= set(STAGES)
    if rule.place is not None:
        assert rule.place.stage in STAGES
        assert rule.place.roles
        assert set(rule.place.roles) <= set(ROLES)
        assert rule.place.stage in rule.outdated_by or not rule.outdated_by


@pytest.mark.parametrize("code", CAUSES)
def test_a_cause_says_what_work_it_calls_for_or_that_it_calls_for_none(code: str) -> None:
    works = {cause.work for rule in RULES for cause in rule.causes if cause.code == code}
    assert len(works) == 1, "one cause calls for one work, whichever rule found it"
    work = works.pop()
    needed = work_for(code, has_booster_pump=False)
    if isinstance(work, NoWork):
        assert needed is None
        return
    assert isinstance(work, Work)
    assert needed is not None
    assert (needed.kind.value, needed.stage or None, needed.urgent, needed.label) == (
        work.kind.value,
        work.stage,
        work.is_urgent,
        work.label,
    )
    assert not work.part or work.part in PURPOSES
    assert work.label or work.stage or needed.kind == NeedKind.INSPECT, "a sentence must be able to name it"
    assert (needed.kind in (NeedKind.REPLACE, NeedKind.ROTATE)) == (work.stage is not None)


@rules
def test_what_is_found_has_the_causes_of_its_record(rule: Rule) -> None:
    """Also beside other facts: no condition puts causes of its own in their place."""
    codes = tuple(cause.code for cause in rule.causes)
    weak = {"inlet_pressure_kpa": 300.0, "line_pressure_kpa": None, "prefilter_outlet_pressure_kpa": None}
    matches = [
        match
        for _, changes, _ in PATTERNS
        for more in ({}, {"temperature_degc": 6.0}, weak)
        for match in diagnose({**HEALTHY, **changes, **more})
        if match.rule is rule
    ]
    assert matches
    assert {match.causes for match in matches} == {codes}


NOT_OUR_WORDS = re.compile(
    r"used up|spent|worn out|no longer|hold[s]? back|polishing|\bdue\b|\bdrop\b|change it|change both", re.I
)
NEXT = re.compile(r"\b(we will|please|call us|do not|test for|nothing needs)\b", re.I)


def sentences_for_client() -> dict[str, str]:
    """Of every record, and of every case of the tests that has a sentence of its own."""
    rule_of_sentence = {rule.for_client: rule.id for rule in RULES}
    for rule, changes, _ in PATTERNS:
        rule_of_sentence |= {match.for_client: rule for match in diagnose({**HEALTHY, **changes})}
    for lag in (True, False, None):
        for lead in (9.0, 7.0, None):
            for product in (9.0, 3.0, 1.5, 0.0, None):
                for is_exhausted in (True, False):
                    outlets = {"interstage_tds_mg_per_l": lead, "product_tds_mg_per_l": product}
                    flags = {"has_lag_resin": lag, "lag_resin_is_exhausted": is_exhausted}
                    rule_of_sentence |= {
                        match.for_client: match.id for match in diagnose({**HEALTHY, **outlets, **flags})
                    }
    return rule_of_sentence


# What to read, or to look at without a meter, is asked where the unit's status asks for it.
ASKED_BY_STATUS = {rule.id for rule in RULES if any(cause.work is NoWork.READING_ASKED for cause in rule.causes)}


@pytest.mark.parametrize("sentence", [s for s, rule in sentences_for_client().items() if rule not in ASKED_BY_STATUS])
def test_a_client_is_told_what_happens_next_or_what_to_do(sentence: str) -> None:
    last = re.split(r"(?<=[.!?]) ", sentence)[-1]
    assert NEXT.search(last), last
    assert not NOT_OUR_WORDS.search(sentence)


@rules
def test_an_installer_reads_the_words_of_the_trade(rule: Rule) -> None:
    for sentence in (rule.title, rule.for_installer, rule.action, rule.confirm):
        assert not re.search(r"used up|spent|worn out|polishing|\bdue\b|\bdrop\b", sentence), sentence


def test_what_must_be_in_the_next_rounds_whatever_it_costs() -> None:
    """Water where none should be, none where it is wanted or a taste in it, a lamp that disinfects no more, chlorine on
    its way to a membrane, a pressure or a drain that nothing stops, and clogged prefilters, which starve all behind
    them; everything else is weighed by its cost."""
    urgent = {
        (rule.id, cause.code)
        for rule in RULES
        for cause in rule.causes
        if isinstance(cause.work, Work) and cause.work.is_urgent
    }
    assert urgent == {
        ("D50", "water_leak"), ("D55", "float_valve_does_not_close"), ("D40", "permeate_side_leak"),
        ("D29", "feed_shut"), ("D28", "check_valve_stuck"), ("D01", "prefilter_clogged"), ("D49", "prefilter_clogged"),
        ("D04", "pressure_switch_set_wrong"), ("D61", "pressure_switch_set_wrong"), ("D39", "tank_biofilm"),
        ("D78", "uv_lamp_out"),
        ("D77", "no_water_not_explained"), ("D04", "restrictor_blocked"),
        ("D25", "restrictor_blocked"), ("D05", "membrane_oxidised_carbon_exhausted"), ("D44", "carbon_exhausted"),
        ("D30", "chloramine_breakthrough"), ("D31", "wrong_cartridge"), ("D63", "resins_exchanged"),
    }  # fmt: skip
