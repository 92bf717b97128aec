"""Rounds: which installer visits whom on which day, in which order.

``problem`` says what is asked, ``evaluate`` is the one judge of what a plan costs and whether it may be carried out,
``naive`` makes a first plan, ``model`` and ``solve`` improve it, ``unserved`` explains what was left out, ``replan``
repairs a published plan when the day goes wrong.
"""

from scheduling.planning.rounds.candidates import candidate_of, lunch_of, on_allowed_days, rates_of
from scheduling.planning.rounds.changes import (
    Disturbance,
    FreeLater,
    InstallerOut,
    Moment,
    VisitAdded,
    VisitCancelled,
    VisitNotDone,
)
from scheduling.planning.rounds.differences import Difference, DifferenceKind, list_people_to_notify
from scheduling.planning.rounds.evaluate import Evaluation, Route, Stop, evaluate
from scheduling.planning.rounds.problem import (
    Appointment,
    Candidate,
    Installer,
    Lunch,
    Rates,
    RoundProblem,
    Shift,
    Window,
)
from scheduling.planning.rounds.reasons import DayReason, InstallerReason, PlaceReason, Why, reasons_of
from scheduling.planning.rounds.replan import Replanned, replan
from scheduling.planning.rounds.solve import Progress, RoundPlan, plan_rounds, usual_iterations
from scheduling.planning.rounds.unserved import Unserved, UnservedReason
from scheduling.planning.travel.traffic import Traffic

__all__ = [
    "Appointment",
    "Candidate",
    "DayReason",
    "Difference",
    "DifferenceKind",
    "Disturbance",
    "Evaluation",
    "FreeLater",
    "Installer",
    "InstallerOut",
    "InstallerReason",
    "Lunch",
    "Moment",
    "PlaceReason",
    "Progress",
    "Rates",
    "Replanned",
    "RoundPlan",
    "RoundProblem",
    "Route",
    "Shift",
    "Stop",
    "Traffic",
    "Unserved",
    "UnservedReason",
    "VisitAdded",
    "VisitCancelled",
    "VisitNotDone",
    "Why",
    "Window",
    "candidate_of",
    "evaluate",
    "list_people_to_notify",
    "lunch_of",
    "on_allowed_days",
    "plan_rounds",
    "rates_of",
    "reasons_of",
    "replan",
    "usual_iterations",
]
