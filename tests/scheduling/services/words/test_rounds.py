"""What is said of rounds, plans and visits by the services, in whichever language is spoken."""

from accounts.language import speak
from scheduling.services.words import rounds, visits
from tests.pseudo_language import PSEUDO, english_in


def test_a_lock_names_who_set_it_where_that_is_known() -> None:
    assert rounds.locked_by("Mia", "Key is with the caretaker.") == "Mia locked this stop: Key is with the caretaker."
    assert rounds.locked_by("", "Key.") == "Somebody locked this stop: Key."


def test_fixed_intervals_have_their_plural_forms() -> None:
    assert [rounds.every_months(months) for months in (1, 3)] == ["every 1 month", "every 3 months"]


def test_it_is_told_in_the_language_that_is_spoken() -> None:
    with speak(PSEUDO):
        texts = [
            rounds.ask_client_first("S1"),
            rounds.locked_by("P1", "R1"),
            rounds.locked_by("", "R1"),
            rounds.offered_other_times("S1"),
            rounds.nobody_active("S1"),
            rounds.waits("S1", "W1"),
            rounds.best_so_far("improving", 1.0, "C1"),
            rounds.learning_driving_times(),
            rounds.finding_work(),
            rounds.bundling_visits(),
            rounds.planning_rounds(),
            rounds.done(),
            rounds.simulating(rounds.at_price_of_bad_water(0.5)),
            rounds.every_months(3),
            visits.tasks_proposed_elsewhere(),
            visits.nothing_due(),
            visits.offer_expired(),
            visits.tasks_handed_over(),
            visits.confirmed_otherwise(),
            visits.plan_cannot_keep(7),
        ]
    assert not [text for text in texts if english_in(text)]
