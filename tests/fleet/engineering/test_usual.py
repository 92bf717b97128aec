"""What is usual has one home; a prior of the forecasts that stands on it lies within it."""

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from fleet.engineering import usual
from fleet.engineering.constants import DAYS_PER_YEAR
from fleet.forecasting.wear.membranes import FLOW_PRIOR, NOMINAL_DAYS, SALT_PRIOR, USUAL_FLOW_LOSS, USUAL_SALT_GAIN

ROOT = Path(usual.__file__).parents[2]
PURE = ("fleet/engineering", "fleet/forecasting", "scheduling/planning")


@pytest.mark.parametrize(
    ("usual_change", "mean", "yearly"),
    [
        (USUAL_FLOW_LOSS, FLOW_PRIOR.mean, [-np.log(1.0 - loss) for loss in usual.SOUND_FLOW_LOSS_PER_YEAR]),
        (USUAL_SALT_GAIN, SALT_PRIOR.mean, [np.log(1.0 + gain) for gain in usual.SOUND_SALT_GAIN_PER_YEAR]),
    ],
    ids=["flow", "salt passage"],
)
def test_forecasts_expect_of_a_membrane_what_diagnosis_calls_sound(
    usual_change: float, mean: float, yearly: list[float]
) -> None:
    in_a_year = usual_change * DAYS_PER_YEAR / (NOMINAL_DAYS * np.exp(mean))
    least, most = yearly
    assert least < in_a_year < most


def test_a_number_of_the_pure_rooms_has_one_home() -> None:
    homes: dict[tuple[str, str], list[str]] = defaultdict(list)
    for room in PURE:
        for path in sorted((ROOT / room).rglob("*.py")):
            for name, value in _numbers_of(ast.parse(path.read_text(encoding="utf-8"))):
                homes[name, value].append(str(path.relative_to(ROOT)))
    assert len(homes) > 100, "the search lost its way"
    assert {name: paths for (name, _), paths in homes.items() if len(paths) > 1} == {}


def _numbers_of(module: ast.Module) -> Iterator[tuple[str, str]]:
    """Names of a module that stand for a number, or numbers, that it writes itself."""
    for node in module.body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        value = getattr(node, "value", None)
        if isinstance(target, ast.Name) and value is not None:
            written = ast.unparse(value)
            if re.fullmatch(r"[-+*/., ()\d_e]+", written):
                yield target.id.strip("_"), written
