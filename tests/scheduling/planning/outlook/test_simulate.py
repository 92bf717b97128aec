"""Sites live through their days independently of one another, and of how the work is cut up."""

import math
from dataclasses import replace

import numpy as np
import pytest

from scheduling.planning.company_rules import CompanyRules, ServicePolicy
from scheduling.planning.needs.facts import PositionFacts, UnitFacts
from scheduling.planning.outlook import simulate as module
from scheduling.planning.outlook.inputs import OutlookSite, OutlookUnit, Span, Way
from scheduling.planning.outlook.simulate import _chances, simulate
from scheduling.planning.outlook.sites import MEASURES
from scheduling.planning.policy import Policy
from tests.scheduling.planning.outlook.test_units import FIRST_DAY, evenly, position

POLICY = ServicePolicy(Policy(), CompanyRules(unread_after_days=730))
PLANNED = Way("planned", POLICY)
SPAN = Span(FIRST_DAY, days=365, draws=6)


def site(key: int, *positions: PositionFacts, every: float | None = None) -> OutlookSite:
    facts = UnitFacts(3, "reef", FIRST_DAY, positions=positions, last_read_on=FIRST_DAY)
    return OutlookSite(key, (OutlookUnit(facts, every),))


def ranging(key: int) -> PositionFacts:
    told = position(key, evenly(20.0, 220.0))
    return replace(told, newest_forecast=replace(told.newest_forecast, fresh_life_days=(120.0, 180.0, 270.0)))


SITES = [site(1, ranging(1)), site(2, ranging(1), ranging(2)), site(3, ranging(1), every=20.0)]


def run(sites: list[OutlookSite], way: Way = PLANNED, span: Span = SPAN, **more: object) -> np.ndarray:
    return simulate(sites, way, span, prices=POLICY, travel_costs=[10.0] * len(sites), **more)


@pytest.mark.parametrize("way", [PLANNED, Way("fixed", POLICY, interval_days=90)])
def test_a_site_has_the_same_days_alone_among_others_and_in_pieces(way: Way, monkeypatch: pytest.MonkeyPatch) -> None:
    together = run(SITES, way)
    assert together.shape == (6, 3, len(MEASURES))
    for at, one in enumerate(SITES):
        assert run([one], way)[:, 0] == pytest.approx(together[:, at])
    heard: list[float] = []
    monkeypatch.setattr(module, "_BLOCK", 5)
    assert run(SITES, way, progress=heard.append) == pytest.approx(together)
    assert heard == pytest.approx([5 / 18, 10 / 18, 15 / 18, 1.0])


def test_draws_and_seeds_have_chances_of_their_own() -> None:
    outcome = run(SITES)
    assert len({tuple(row) for row in outcome[:, 0].tolist()}) > 1
    assert run(SITES) == pytest.approx(outcome)
    assert not np.allclose(run(SITES, span=replace(SPAN, seed=1)), outcome)
    chances = _chances(SITES[1], SPAN)
    assert chances.shape == (6, 3, 64)
    assert not np.allclose(chances, _chances(replace(SITES[1], key=9), SPAN))


def test_a_fixed_interval_begins_on_a_day_of_its_own_chance_at_every_site() -> None:
    """The visits of 365 days of an interval of 90, from the first one on, whatever stands at the site."""
    for one in SITES[:2]:
        firsts = [math.floor(table[-1, -1] * 90) for table in _chances(one, SPAN)]
        visits = run([one], Way("fixed", POLICY, interval_days=90))[:, 0, 0]
        assert visits.tolist() == [math.ceil((365 - first) / 90) for first in firsts]


def test_money_is_counted_by_the_prices_and_decided_by_the_way() -> None:
    """Whoever believes that every visit costs 900 comes less often; each still counts at 10 of driving."""
    sites = [site(key, *(position(k, 60.0 * k + key) for k in range(1, 4))) for key in range(5)]
    usual = run(sites)
    dear = run(sites, way_travel_costs=[900.0] * 5)
    visits, money = MEASURES.index("visits"), MEASURES.index("visit_money")
    assert dear[..., visits].sum() < usual[..., visits].sum()
    assert (dear[..., money] <= dear[..., visits] * 100.0).all()
    assert run(sites, way_travel_costs=[10.0] * 5) == pytest.approx(usual)


def test_a_day_on_which_nothing_is_known_ends_no_outlook() -> None:
    """Nothing that wears, nothing that is planned: no visit, no money, and it ends."""
    nothing = run([site(1, PositionFacts(key=1, stage="carbon", cartridge=11))])
    assert not nothing.any()


def test_a_reading_that_shows_bad_water_brings_planning_there_at_once() -> None:
    """Expected on day 300, truly exhausted on day 40 or so, read every ten days: somebody comes soon after."""
    told = position(1, tuple(np.interp(np.linspace(0.05, 0.995, 41), [0.0, 0.3, 1.0], [30.0, 50.0, 600.0])))
    early = [key for key in range(40) if _chances(site(key, told), replace(SPAN, draws=1))[0, 0, 0] < 0.25]
    sites = [site(key, told, every=10.0) for key in early]
    outcome = run(sites, span=replace(SPAN, draws=1, days=200))[0]
    assert (outcome[:, MEASURES.index("parts")] >= 1).all()
    assert outcome[:, MEASURES.index("days_at_risk")].max() < 10.0 + 7.0
