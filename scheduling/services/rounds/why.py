"""Why a stop is where it is, as it is stored with the stop."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime

from scheduling.models import Stop, Visit
from scheduling.planning import rounds
from scheduling.services.rounds.problem import PlanQuestion
from scheduling.services.words import why as words

#: (visit id, installer id, day) to why the visit was there in the plan before.
Earlier = Mapping[tuple[int, int, date], str]
Day, By, Place = rounds.DayReason, rounds.InstallerReason, rounds.PlaceReason


def earlier_reasons(stops: Iterable[Stop]) -> dict[tuple[int, int, date], str]:
    """Why stops are on their days, for a plan that leaves most of them there."""
    return {(stop.visit_id, stop.round.installer_id, stop.round.day): stop.day_reason for stop in stops}


def explain(stop: Stop, why: rounds.Why, question: PlanQuestion, earlier: Earlier) -> Stop:
    """Write down why a stop is where it is.

    Parameters
    ----------
    stop
        With its round and visit.
    why
        What the planner's question says.
    question
        The rows behind it.
    earlier
        What was said in the plan before of the visits that stay with their installer on their day.
    """
    stop.day_reason = _day_reason(stop, why, question, earlier)
    stop.place_reason = _place_reason(stop, why, question)
    return stop


def _day_reason(stop: Stop, why: rounds.Why, question: PlanQuestion, earlier: Earlier) -> str:
    visit, day = stop.visit, stop.round.day
    kept = earlier.get((visit.pk, stop.round.installer_id, day), "")
    if kept or why.day is Day.CONFIRMED:
        return kept
    wait = question.waits.get(str(visit.pk))
    installer = stop.round.installer.name
    clauses = [
        words.parts_come(day) if wait is not None and wait.until == day else _of_day(why, question),
        words.nobody_else(installer) if why.installer is By.ONLY_ONE else "",
        words.shortest_way(installer, why.detour_s) if why.installer is By.SHORTEST_WAY else "",
        words.cheapest_with(installer) if why.installer is By.WHOLE else "",
    ]
    return words.joined(clauses)


def _of_day(why: rounds.Why, question: PlanQuestion) -> str:
    if why.day is Day.URGENT:
        return words.urgent()
    if why.other_day is None:
        return words.only_day()
    other, currency = why.other_day, question.problem.rates.currency
    if why.day is Day.CHEAPEST:
        return words.cheapest(other, why.other_day_cents / 100, currency)
    return words.cheaper_together(other, -why.other_day_cents / 100, currency)


def _place_reason(stop: Stop, why: rounds.Why, question: PlanQuestion) -> str:
    if why.window_s is not None:
        day = (stop.round.day - question.clock.first_day).days
        at, zone = question.clock.moment(day, why.window_s), stop.visit.site.time_zone
        begins, ends = (_offered(stop.visit, name) for name in ("opens_at", "closes_at"))
        if why.place is Place.WINDOW_CLOSES:
            return (words.offer_ends if at in ends else words.window_closes)(at, zone)
        if at in begins:
            return words.offer_begins(at, zone)
        # a repair begins near what people were told, which is later than the site opens
        candidate = question.problem.candidates[question.problem.candidate_index[str(stop.visit_id)]]
        is_open = any(window.day == day and window.opens_s == why.window_s for window in candidate.windows)
        return (words.window_opens if is_open else words.near_planned)(at, zone)
    return words.drive(why.drive_s, is_first=why.is_first)


def _offered(visit: Visit, name: str) -> set[datetime]:
    """When the windows open, or close, that the client may still choose."""
    return {datetime.fromisoformat(offer[name]) for offer in visit.offers if visit.state == Visit.State.OFFERED}
