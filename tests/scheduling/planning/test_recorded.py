"""What planning makes of recorded weeks and sites without the solver: regression values.

They are not right because they stand here; they are what the code said when it passed all other tests. After a change
that is meant, write them anew with `python -m tests.scheduling.planning.recorded` and say in the commit what moved.
"""

from __future__ import annotations

import json

import pytest

from tests.scheduling.planning.recorded import FILE, figures

KEPT = json.loads(FILE.read_text())


@pytest.fixture(scope="module")
def computed():
    return figures()


@pytest.mark.parametrize(("name", "part"), [(name, part) for name, parts in KEPT.items() for part in parts])
def test_figures_are_those_recorded(computed, name: str, part: str) -> None:
    rows, kept = computed[name][part], KEPT[name][part]
    place = f"{name}, {part} (meant? python -m tests.scheduling.planning.recorded)"
    assert len(rows) == len(kept), place
    for new, old in zip(rows, kept, strict=True):
        assert len(new) == len(old), place
        for here, there in zip(new, old, strict=True):
            if isinstance(there, float):
                assert here == pytest.approx(there, rel=1e-6, abs=2e-6), (place, old)
            else:
                assert here == there, (place, old)
