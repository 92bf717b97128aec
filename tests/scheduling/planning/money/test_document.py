"""Tax once for each rate of a document, and sums that add up; worked by hand."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.money.document import net_of, total_of
from scheduling.planning.money.periods import periods_beginning


@dataclass(frozen=True)
class Line:
    net: Decimal
    vat: str
    vat_percent: Decimal


def line(net: str, percent: str, vat: str = "standard") -> Line:
    return Line(Decimal(net), vat, Decimal(percent))


def test_tax_is_rounded_once_for_each_rate() -> None:
    # By hand: 3 x 0.99 = 2.97 at 19 % is 0.5643, so 0.56 (line by line: 3 x 0.19 = 0.57); 10.50 at 7 % is 0.735, half
    # up 0.74; 5.00 untaxed. Net 18.47, tax 1.30, gross 19.77. The rule is that of EN 16931-1, BR-CO-17 (from memory).
    totals = total_of([*[line("0.99", "19")] * 3, line("10.50", "7", "reduced"), line("5.00", "0", "none")])
    assert [(rate.vat, str(rate.net), str(rate.tax)) for rate in totals.by_rate] == [
        ("standard", "2.97", "0.56"),
        ("reduced", "10.50", "0.74"),
        ("none", "5.00", "0.00"),
    ]
    assert (str(totals.net), str(totals.tax), str(totals.gross)) == ("18.47", "1.30", "19.77")


def test_one_name_at_two_rates_is_two_rates() -> None:
    # a change of the rate within the month; by hand 100 x 16 % + 100 x 19 %
    totals = total_of([line("100.00", "16"), line("100.00", "19")])
    assert [str(rate.tax) for rate in totals.by_rate] == ["19.00", "16.00"]


def test_nothing_comes_to_nothing() -> None:
    assert total_of([]).gross == Decimal("0.00")


money = st.decimals(Decimal("-9999.99"), Decimal("9999.99"), places=2)
lines = st.lists(
    st.builds(Line, money, st.sampled_from(["standard", "reduced"]), st.sampled_from([Decimal(7), Decimal(19)]))
)


@given(lines)
def test_sums_add_up_whatever_the_lines(of_document: list[Line]) -> None:
    totals = total_of(of_document)
    assert totals.net == sum(each.net for each in of_document)
    assert totals.net == sum(rate.net for rate in totals.by_rate)
    assert totals.gross == totals.net + sum(rate.tax for rate in totals.by_rate)


@given(lines)
def test_a_credit_note_over_the_same_lines_takes_all_of_it_back(of_document: list[Line]) -> None:
    back = total_of([Line(-each.net, each.vat, each.vat_percent) for each in of_document])
    assert back.gross == -total_of(of_document).gross


def test_a_line_is_its_quantity_times_its_price() -> None:
    # 35 minutes are 0.5833 h; 0.5833 x 54.60 = 31.84818
    assert net_of(Decimal("0.5833"), Decimal("54.60")) == Decimal("31.85")


@given(
    st.dates(date(2020, 1, 1), date(2024, 12, 31)),
    st.sampled_from(["month", "year"]),
    st.integers(0, 90),
)
def test_every_period_begins_in_one_month_alone(starts_on: date, per: str, months: int) -> None:
    """Asked month by month, each period comes up once, and in order."""
    firsts = [date(2020 + k // 12, k % 12 + 1, 1) for k in range(months + 1)]
    whole = list(periods_beginning(starts_on, None, per, firsts[0], firsts[-1]))
    by_month = [
        day for first, before in pairwise(firsts) for day in periods_beginning(starts_on, None, per, first, before)
    ]
    assert by_month == whole == sorted(set(whole))
    if starts_on < firsts[-1]:
        assert whole[0] == starts_on
