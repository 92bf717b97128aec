"""The rooms know the same stages, in the same order."""

from fleet.engineering.limits import USUAL_SERVICE_TIME_DAYS
from fleet.engineering.stages import STAGES
from fleet.forecasting.inputs import vocabulary as words
from fleet.models import Stage
from scheduling.planning.policy import Policy


def test_the_stages_that_are_stored_priced_and_forecast_are_those_of_engineering():
    assert tuple(Stage.values) == STAGES
    assert tuple(USUAL_SERVICE_TIME_DAYS) == STAGES
    numbers = (words.SEDIMENT, words.CARBON, words.MEMBRANE, words.RESIN, *words.FINISHING_STAGES)
    assert [words.STAGES[number] for number in numbers] == [*STAGES]
    assert len(words.UNIT_OF_LOAD) == len(words.DRIVER_OF_STAGE) == len(words.STAGE_QUANTITIES) == len(STAGES)
    assert set(Policy().late_cost_per_day) == set(STAGES)
