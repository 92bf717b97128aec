"""What the services of the fleet tell, with its plural forms and in whichever language is spoken."""

from datetime import date

from accounts.language import speak
from fleet.forecasting.answer.left_out import sentence_left_out, why_left_out
from fleet.forecasting.inputs import vocabulary
from fleet.services import words
from tests.pseudo_language import PSEUDO, english_in


def test_one_and_many_have_their_plural_forms() -> None:
    assert words.files_forecast(1, 1, 1, 1, 1) == (
        "1 position of 1 unit forecast; 1 reading read, 1 value left out, 1 row of the files not usable."
    )
    assert words.files_forecast(6, 2, 0, 3, 0) == (
        "6 positions of 2 units forecast; 0 readings read, 3 values left out, 0 rows of the files not usable."
    )
    assert [words.replaying(months) for months in (1, 12)] == ["replaying 1 month", "replaying 12 months"]
    assert [words.units_forecast(count) for count in (1, 400)] == ["1 unit forecast", "400 units forecast"]
    assert words.units_with_news_forecast(1, 2) == "1 of 2 units with news forecast"


def test_how_far_a_run_is_is_told_in_the_language_that_is_spoken() -> None:
    with speak(PSEUDO):
        texts = [
            words.learning(),
            words.units_forecast(3),
            words.forecasting_units(3),
            words.units_with_news_forecast(1, 3),
            words.forecasts_stored(),
            words.computing_indicators(),
            words.indicators_stored(),
            words.looking_for_patterns(),
            words.findings_stored(),
            words.reading_records(),
            words.replaying(3),
            words.scores_stored(),
            words.files_forecast(6, 2, 0, 3, 0),
            words.likely_causes(),
            words.readings_exchanged(7),
            words.chlorine_passes(0.3, 0.1),
            words.position_of_unit("resin", "lead", "7"),
        ]
    assert not [text for text in texts if english_in(text)]


def test_why_a_value_is_left_out_has_words_for_every_reason() -> None:
    with speak(PSEUDO):
        assert not [code for code in vocabulary.EXCLUSION_REASONS if code and english_in(why_left_out(code))]
        assert not english_in(sentence_left_out("product TDS", date(2026, 2, 20), "static"))
    assert sentence_left_out("", date(2026, 2, 20), "repeated") == (
        "The whole reading of 20 Feb 2026: repeats another row of the same unit and time."
    )
