"""Numbers and days as people write them: read where they can be one thing, else left out with what would be right."""

import numpy as np
import pytest

from fleet.forecasting.files.days import day_of, is_day_first, written_day
from fleet.forecasting.files.numbers import read_numbers


def number(*cells: str, commas: bool = False) -> tuple[list[float], list[str]]:
    read = read_numbers(list(cells), has_decimal_commas=commas, may_be_below=True)
    return read.values.tolist(), [*read.trouble.values(), *read.below.values()]


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("3.9", 3.9), ("3,9", 3.9), ("-0,25", -0.25), ("0,125", 0.125), ("1 250", 1250.0), ("1\u00a0250,5", 1250.5),
        ("12'345", 12345.0), ("1,250.5", 1250.5), ("1.250,5", 1250.5), ("1,250,000", 1250000.0), ("~350", 350.0),
        ("ca. 350", 350.0), ("1e3", 1000.0), ("−4", -4.0),
    ],
)  # fmt: skip
def test_a_number_that_can_be_one_thing_is_read(cell: str, value: float) -> None:
    assert number(cell) == ([pytest.approx(value)], [])


def test_a_comma_before_three_digits_is_what_the_column_shows() -> None:
    assert number("1,250", "3,9")[0] == pytest.approx([1.25, 3.9])
    assert number("1,250", "2,250.5")[0] == pytest.approx([1250.0, 2250.5])
    assert number("1,250", commas=True)[0] == pytest.approx([1.25])
    (value,), (why,) = number("1,250")
    assert np.isnan(value)
    assert why == "'1,250' may be 1250 or 1.250; write it without a comma or with a point"


def test_of_a_bound_from_above_half_is_taken_and_said() -> None:
    assert number("<1", "< 0,1", "", "2") == (
        [pytest.approx(0.5), pytest.approx(0.05), pytest.approx(np.nan, nan_ok=True), 2.0],
        [
            "'<1' says only that it was less; half of it is taken",
            "'< 0,1' says only that it was less; half of it is taken",
        ],
    )
    read = read_numbers(["<1"], has_decimal_commas=False, may_be_below=False)
    assert np.isnan(read.values[0])
    assert "write a number" in read.trouble[0]


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        (">5", "it was more"), ("sixty", "is not a number"), ("inf", "no finite number"), ("1e999", "no finite number"),
        ("3,9,1", "is not a number"), ("<much", "is not a number"),
    ],
)  # fmt: skip
def test_a_number_that_cannot_be_read_says_why(cell: str, why: str) -> None:
    (value,), (sentence,) = number(cell)
    assert np.isnan(value)
    assert why in sentence


@pytest.mark.parametrize(
    "text",
    [
        "2025-03-02", "2025/03/02", "2025.3.2", "2.3.2025", "02.03.2025", "2 March 2025", "2nd Mar 2025", "2-Mar-2025",
        "March 2, 2025", "Mar. 2 2025", "45718",
    ],
)  # fmt: skip
def test_a_day_is_read_in_the_usual_forms(text: str) -> None:
    assert written_day(text, None) == day_of("2025-03-02")


@pytest.mark.parametrize("text", ["2.3.2025 14:05", "2 March 2025, 2:05 pm", "2025/03/02T14:05:00"])
def test_a_day_may_have_a_time(text: str) -> None:
    assert written_day(text, None) == pytest.approx(day_of("2025-03-02T14:05"))


def test_a_number_of_days_is_as_it_was_where_no_spreadsheet_counts() -> None:
    assert written_day("20149", None) == 20149.0
    assert written_day("45718.5", None) == day_of("2025-03-02T12:00")


def test_which_figure_is_the_day_is_told_by_the_other_dates_of_the_file() -> None:
    assert written_day("3/4/2025", day_first=True) == day_of("2025-04-03")
    assert written_day("3/4/2025", day_first=False) == day_of("2025-03-04")
    assert written_day("13/4/2025", None) == written_day("4/13/2025", None) == day_of("2025-04-13")
    assert written_day("4/4/2025", None) == day_of("2025-04-04")
    assert is_day_first(["13/4/2025", "4/13/2025"]) is None
    with pytest.raises(ValueError, match="may be 2025-04-03 or 2025-03-04; write the one that is meant"):
        written_day("3/4/2025", None)


@pytest.mark.parametrize(
    ("text", "why"),
    [("31.2.2025", "no day of the calendar"), ("3 Moon 2025", "names no month"), ("soon", "is not a time")],
)
def test_what_is_no_day_says_why(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        written_day(text, None)
