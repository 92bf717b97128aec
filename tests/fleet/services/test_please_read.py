"""What a client is asked to read, in words."""

import pytest

from accounts.language import speak
from fleet.services import words
from scheduling.planning.needs.gauges import GAUGES
from tests.pseudo_language import PSEUDO, english_in


@pytest.mark.parametrize("gauge", GAUGES, ids=lambda gauge: gauge.reads[-1])
def test_every_gauge_can_be_asked_for_in_the_language_that_is_spoken(gauge: object) -> None:
    columns = gauge.reads  # type: ignore[attr-defined]
    with speak(PSEUDO):
        assert not english_in(words.please_read(columns))


def test_several_are_listed() -> None:
    sentence = words.please_read(["feed_tds_mg_per_l", "permeate_tds_mg_per_l", "product_tds_mg_per_l"])
    assert sentence.startswith(
        "Please read the TDS of the tap water, the TDS of the water behind the membrane and the TDS of the finished "
    )
