"""What is said of parts, orders and deliveries: case by case, with plurals, in whichever language is spoken."""

from datetime import date

from accounts.language import speak
from scheduling.services.words import stock
from tests.pseudo_language import PSEUDO, english_in

DAY = date(2026, 3, 3)


def test_what_a_visit_waits_for_is_told_by_what_is_ordered_and_what_is_not() -> None:
    assert stock.parts_wait(["C1"], [3], [], DAY) == "C1 is on order (order 3) and can be here for Tue 3 Mar."
    assert stock.parts_wait(["C1", "R1", "S1"], [3, 4], [], DAY) == (
        "C1, R1 and S1 are on order (orders 3 and 4) and can be here for Tue 3 Mar."
    )
    assert (
        stock.parts_wait([], [], ["C1", "R1"], DAY) == "C1 and R1 must be ordered first and can be here for Tue 3 Mar."
    )
    assert stock.parts_wait(["C1"], [3], ["R1"], DAY) == (
        "C1 is on order (order 3), R1 must be ordered first; all can be here for Tue 3 Mar."
    )


def test_a_late_line_says_how_late_it_is_and_who_waits() -> None:
    assert stock.late_line(3, "Pipe & Co", 1, "C1", DAY, 1) == (
        "Order 3 to Pipe & Co: 1 C1 was expected on Tue 3 Mar 2026, 1 day ago."
    )
    assert stock.late_line(3, "Pipe & Co", 4, "C1", DAY, 2) == (
        "Order 3 to Pipe & Co: 4 C1 were expected on Tue 3 Mar 2026, 2 days ago."
    )
    assert [stock.late_line(3, "X", count, "C1", DAY, 0) for count in (1, 4)] == [
        "Order 3 to X: 1 C1 is expected on Tue 3 Mar 2026.",
        "Order 3 to X: 4 C1 are expected on Tue 3 Mar 2026.",
    ]
    assert stock.needed_by([]) == "No visit needs it."
    assert stock.needed_by(["S1", "S2"], 1) == "Needed by S1; S2; and by 1 other."
    assert stock.needed_by(["S1"], 20) == "Needed by S1; and by 20 others."
    assert stock.needed_by([stock.visit_counts_on("S1", DAY, 1), stock.visit_counts_on("S2", DAY, 2)]) == (
        "Needed by S1 on Tue 3 Mar 2026 (1 piece); S2 on Tue 3 Mar 2026 (2 pieces)."
    )


def test_pieces_on_order_say_when_they_come_where_that_is_known() -> None:
    assert stock.on_order(2, 7, None, is_late=False) == "2 on order 7"
    assert stock.on_order(2, 7, DAY, is_late=True) == "2 on order 7, expected Tue 3 Mar 2026, too late for this day"


def test_it_is_told_in_the_language_that_is_spoken() -> None:
    with speak(PSEUDO):
        texts = [
            stock.from_store(1),
            stock.aboard(1),
            stock.in_van_of(1, "I1"),
            stock.in_van_of(1, ""),
            stock.on_order(1, 7, DAY, is_late=True),
            stock.missing(1),
            stock.to_order(stock.wanted_for_visits(0, DAY), 1, 2, 0),
            stock.to_order(stock.wanted_for_visits(3, DAY) + stock.and_to_spare(2, 0.95, 1.5), 1, 2, 4),
            stock.put_in_by_hand(),
            stock.nothing_to_order(),
            stock.parts_wait(["C1"], [3], ["R1", "R2"], DAY),
            stock.parts_wait([], [], ["R1"], DAY),
            stock.late_line(3, "X1", 2, "C1", DAY, 2),
            stock.needed_by([stock.visit_counts_on("S1", DAY, 2)]),
            stock.needed_by([]),
        ]
    assert not [text for text in texts if english_in(text)]
