"""What printed pages say: case by case, with plurals, in whichever language is spoken."""

from datetime import UTC, date, datetime

from accounts.language import gettext, speak
from scheduling.exports import words
from tests.pseudo_language import PSEUDO, english_in

DAY, AT = date(2026, 3, 3), datetime(2026, 3, 3, 9, 5, tzinfo=UTC)


def a_round(stops: int, minutes: float) -> str:
    return words.whole_round(leaves=AT, returns=AT, lunch=None, stops=stops, km=12.4, minutes=minutes, zone="Z1")


def test_stops_and_minutes_have_their_plural_forms() -> None:
    times = "Leave at 09:05, back at 09:05"
    assert a_round(1, 1.2) == f"{times}; 1 stop, 12 km, 1 minute at the wheel. Times are those of Z1."
    assert a_round(3, 25.0) == f"{times}; 3 stops, 12 km, 25 minutes at the wheel. Times are those of Z1."


def test_a_task_says_what_it_takes_and_whether_it_is_done() -> None:
    assert words.task("U1", "repair", "", 40, is_done=False) == "U1: repair (40 min)"
    assert words.task("U1", "sanitise", "S1", 25, is_done=True) == ("U1: sanitise, with S1 (25 min) - done already")


def test_what_can_stand_in_is_named_beside_what_is_taken() -> None:
    assert words.item_or("C1", "C2, C3") == "C1 (or C2, C3)"


def test_what_is_installed_says_since_when() -> None:
    assert words.in_position(1, "lead resin", "R1", "L7", DAY) == "1 lead resin: R1 L7 since 3 Mar 2026"
    assert words.in_position(2, "carbon", "", "", None) == "2 carbon: empty"


def test_what_a_reading_should_be_has_one_side_or_two() -> None:
    assert [words.between(*sides) for sides in (("1", "2 psi"), ("", "2 psi"), ("1 psi", ""), ("", ""))] == [
        "1 to 2 psi",
        "at most 2 psi",
        "at least 1 psi",
        "",
    ]


def test_it_is_told_in_the_language_that_is_spoken() -> None:
    tables = (*words.LOAD_COLUMNS, *words.READING_COLUMNS, *words.ORDER_COLUMNS)
    with speak(PSEUDO):
        headings = [gettext(text) for name, text in vars(words).items() if name.isupper() and isinstance(text, str)]
        texts = [
            words.sheet_title(DAY, "I1", "V1"),
            words.sheet_title(DAY, "I1", ""),
            words.page(2),
            words.whole_round(leaves=AT, returns=AT, lunch=AT, stops=2, km=1.0, minutes=2.0, zone="Z1"),
            words.not_published(),
            words.letters_lost("U1"),
            words.stop_title(1, AT, AT, "S1", ""),
            words.confirmed_for(AT),
            words.way_to_stop("", 1.0, 2.0, ""),
            words.task("U1", "W1", "C1", 5, is_done=True),
            words.item_or("C1", "C2, C3"),
            words.unit_title("U1", "N1"),
            words.in_position(1, "P1", "", "L1", DAY),
            words.open_finding("F1", "M1", "D1"),
            words.read_on(DAY),
            words.read_on(None),
            *(words.between(*sides) for sides in (("1", "2"), ("", "2"), ("1", ""))),
            words.order_title(7),
            *words.order_head("C1", "S1", DAY, DAY),
            *words.order_head("C1", "S1", None, DAY),
            words.your_reference("R1"),
            words.cost_in("C1"),
            words.expected_on([DAY]),
            words.visits_of("I1"),
            words.done("S1"),
            words.access("N1"),
            *map(gettext, tables),
        ]
    assert len(headings) > 12
    # 'km' and 'min' are units, and 'DAY' of this module is none of its words
    assert not [text for text in (*headings, *texts) if english_in(text, "km", "min")]
