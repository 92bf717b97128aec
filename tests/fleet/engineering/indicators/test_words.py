"""What an indicator tells, and why one cannot be had, in whichever language is spoken."""

import pytest

from accounts.language import speak
from fleet.engineering.errors import EngineeringError
from fleet.engineering.indicators.reasons import CODES, sentence
from fleet.engineering.indicators.words import WORDS, in_words
from tests.pseudo_language import PSEUDO, english_in


@pytest.mark.parametrize("indicator", WORDS)
def test_an_indicator_is_told_in_the_language_that_is_spoken(indicator: str) -> None:
    with speak(PSEUDO):
        told = in_words(indicator, "12.5")
    for text in (told.for_installer, told.for_client):
        assert "12.5" in text
        assert not english_in(text)


@pytest.mark.parametrize("code", CODES)
def test_a_reason_is_told_in_the_language_that_is_spoken(code: str) -> None:
    with speak(PSEUDO):
        told = sentence(code)
    assert bool(told) == bool(code)
    assert not english_in(told)


def test_an_indicator_that_is_not_known_has_no_words() -> None:
    with pytest.raises(EngineeringError, match="is not an indicator"):
        in_words("colour", "12.5")
