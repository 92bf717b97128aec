"""What the demo tells has its plural forms, and is told in whichever language is spoken."""

from accounts.language import speak
from scheduling.demo import words
from tests.pseudo_language import PSEUDO, english_in


def test_one_and_many_have_their_plural_forms() -> None:
    assert words.refused_rows(1) == "Refused, 1 row: correct it in the log and upload it again"
    assert words.refused_rows(2) == "Refused, 2 rows: correct them in the log and upload it again"
    assert [words.doubtful_rows(*counts) for counts in ((1, 1), (3, 2))] == ["1 row of 1 unit", "3 rows of 2 units"]


def test_it_is_told_in_the_language_that_is_spoken() -> None:
    with speak(PSEUDO):
        assert not english_in(words.refused_rows(2) + words.doubtful_rows(3, 2))
