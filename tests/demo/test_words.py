"""What the demo tells has its plural forms, and is told in whichever language is spoken."""

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from accounts.language import gettext, speak
from scheduling.demo import words
from scheduling.models import Need
from tests import factories
from tests.pseudo_language import PSEUDO, english_in

DAY, LATER = date(2026, 3, 3), date(2026, 3, 5)


def test_one_and_many_have_their_plural_forms() -> None:
    assert words.refused_rows(1) == "Refused, 1 row: correct it in the log and upload it again"
    assert words.refused_rows(2) == "Refused, 2 rows: correct them in the log and upload it again"
    assert [words.doubtful_rows(*counts) for counts in ((1, 1), (3, 2))] == ["1 row of 1 unit", "3 rows of 2 units"]
    assert words.rounds_from(DAY, 1, 1) == "Rounds from Tuesday 3 March 2026: 1 visit in 1 round"
    assert words.rounds_from(DAY, 9, 2) == "Rounds from Tuesday 3 March 2026: 9 visits in 2 rounds"
    assert [words.unread_for(days) for days in (None, 1, 90)] == [
        "it was never read",
        "the last reading is 1 day old",
        "the last reading is 90 days old",
    ]


def test_an_order_says_by_when_it_must_go_out_and_whether_it_is_large_enough() -> None:
    assert [words.order_by(last, DAY) for last in (date(2026, 3, 2), DAY, LATER)] == [
        "today, late",
        "today",
        "Thu 5 Mar",
    ]
    enough = words.order_value(7, "S", Decimal(50), Decimal(50), "EUR")
    short = words.order_value(7, "S", Decimal("49.99"), Decimal(50), "EUR")
    assert (enough, short) == (
        "Order 7 to S: 50.00 EUR.",
        "Order 7 to S: 49.99 EUR, less than the 50.00 it asks for.",
    )


def test_the_first_two_sites_of_an_order_are_named() -> None:
    assert [words.wanted_for(sites) for sites in ([], ["A"], ["A", "B"], ["A", "B", "C", "D"])] == [
        "to spare",
        "A",
        "A, B",
        "A, B and 2 more",
    ]


def test_a_stop_says_until_when_the_installer_waits() -> None:
    assert words.stop_at("09:00", "", "09:40", "S1", is_confirmed=False) == "09:00 to 09:40  S1"
    assert words.stop_at("09:00", "09:10", "09:50", "S1", is_confirmed=True) == (
        "09:00, waits until 09:10 to 09:50  S1 (confirmed)"
    )


@pytest.mark.django_db
def test_a_task_is_named_by_what_is_done_to_what() -> None:
    unit = factories.UnitFactory(code="U1")
    position = factories.PositionFactory(unit=unit, stage="resin", role="lead")

    def named(kind: str, label: str = "", **values: object) -> str:
        return words.task_of(factories.NeedFactory(unit=unit, kind=kind, label=label, **values))

    item = factories.CatalogueItemFactory(code="R9")
    assert named("replace", "lead resin", position=position, item=item) == "U1: replace lead resin, with R9"
    assert named("rotate", "lead resin", position=position, item=None) == (
        "U1: rotate resin: discard lead, move lag to lead, fresh lag"
    )
    assert named("repair", "float valve", position=None, item=None) == "U1: repair float valve"
    with speak(PSEUDO):
        texts = [named(kind, position=None, item=item) for kind in Need.Kind.values]
    assert not [text for text in texts if english_in(text, "U1", "R9")]


def test_it_is_told_in_the_language_that_is_spoken() -> None:
    tables = (*words.LOG_COLUMNS, *words.ORDER_COLUMNS, *words.LOGIN_COLUMNS, *words.TOKEN_COLUMNS, *words.CAUTIONS)
    headings = [text for name, text in vars(words).items() if name.isupper() and isinstance(text, str)]
    assert len(headings) > 25
    with speak(PSEUDO):
        texts = [
            *map(gettext, (*tables, *headings)),
            words.company_deleted(9),
            words.earlier_files(),
            words.logs_are_in(Path("D1")),
            words.several(2, "L1"),
            words.refused_rows(2),
            words.refused_row("L1", 2, "F1"),
            words.doubt(3, 2, "L1", 5, "U1", "F1"),
            words.needs_attention(9),
            *(words.kind_of_matter("K1", count, count) for count in (1, 2)),
            words.shown_above(["U1", "U2"]),
            words.waiting_costs(3.0, "C1"),
            words.cartridges_in_numbers(90, 9, 8, 14, 7, 42),
            words.unit_at("U1", "N1", "S1", "A1", is_urgent=True),
            *(words.unread_for(days) for days in (None, 3)),
            words.make_sure("C1"),
            words.do("A1"),
            words.take_care("C1"),
            words.take_care_at_unit("N1"),
            words.ask_for_reading(2),
            words.unread_unit("U1", 99),
            words.before("S1"),
            words.gauges(words.READ_AGAIN, "7", "9"),
            words.what_changed("S1"),
            words.after("S1"),
            words.rounds_from(DAY, 2, 3),
            words.round_of(DAY, "I1", "V1", "1", "2", 3.0, 4.0),
            words.stop_at("1", "2", "3", "S1", is_confirmed=True),
            words.getting_in("N1"),
            words.seen_exhausted(),
            *(words.maximum_service_time(DAY, is_past=is_past) for is_past in (True, False)),
            words.likely_exhausted(0.5),
            words.left_out(2),
            words.load_from_store([]),
            words.on_board(["C1"]),
            words.not_in_store(["C1"]),
            words.nothing_to_order(DAY),
            words.draft_orders(DAY),
            words.order_value(7, "S1", Decimal(1), Decimal(2), "C1"),
            *(words.order_by(DAY, today) for today in (DAY, LATER)),
            words.wanted_for([]),
            words.wanted_for(["A1", "B1", "C1"]),
            *(words.call("C1", "S1", "I1", "W1", is_urgent=is_urgent) for is_urgent in (True, False)),
            words.kept_in(Path("D1")),
        ]
    assert not [text for text in texts if english_in(text, "km", "min")]
