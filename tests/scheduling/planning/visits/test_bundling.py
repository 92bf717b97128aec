from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from accounts.language import speak
from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.dates import first_day_on_condition
from scheduling.planning.needs.need import Need, NeedKind, cost_curves, exhausted_probability
from scheduling.planning.policy import Policy
from scheduling.planning.travel.trips import Place
from scheduling.planning.visits.bundling import bundle_visits
from scheduling.planning.visits.patterns import best_patterns
from scheduling.planning.visits.proposal import BundlingSite
from scheduling.planning.visits.travel_cost import travel_cost_estimate
from tests.pseudo_language import PSEUDO, english_in

SPREAD = np.array([0.55, 0.65, 0.8, 1.0, 1.2, 1.4, 1.55])
HERE = Place(50.0, 9.0)
POLICY = Policy()


def cartridge(key: str, site: str, days_left: float, *, price: float = 20.0, late: float = 6.0, **more) -> Need:
    return Need(
        key,
        site,
        "unit",
        NeedKind.REPLACE,
        label=key,
        minutes=12.0,
        quantile_days=tuple(SPREAD * days_left),
        remaining_share=0.5,
        price=price,
        late_cost_per_day=late,
        **more,
    )


def list_all_patterns(weekly: np.ndarray, visit_price: float, interval: float) -> tuple[float, set[int]]:
    """Least cost over every set of weeks, by listing all of them."""
    weeks = weekly.shape[1] - 1
    best = (math.inf, set())
    for size in range(weeks + 1):
        for pattern in itertools.combinations(range(weeks), size):
            cost = weekly[:, [*pattern, weeks]].min(axis=1).sum() + size * visit_price
            if pattern:
                cost -= visit_price * min(max((pattern[-1] + interval - weeks) / interval, 0.0), 1.0)
            if cost < best[0] - 1e-9:
                best = (cost, set(pattern))
    return best


def pattern_cost(weekly: np.ndarray, pattern: list[int], visit_price: float, interval: float) -> float:
    weeks = weekly.shape[1] - 1
    cost = weekly[:, [*pattern, weeks]].min(axis=1).sum() + len(pattern) * visit_price
    if pattern:
        cost -= visit_price * min(max((pattern[-1] + interval - weeks) / interval, 0.0), 1.0)
    return float(cost)


@settings(max_examples=40)
@given(st.integers(0, 10_000))
def test_no_pattern_of_all_is_cheaper(seed: int) -> None:
    rng = np.random.default_rng(seed)
    weeks, sites = 9, 3
    counts = rng.integers(1, 6, sites)
    n = int(counts.sum())
    curves = cost_curves(
        np.sort(rng.uniform(-20.0, 120.0, (n, 7)), axis=1),
        remaining_share=rng.uniform(0.0, 1.0, n),
        price=rng.uniform(2.0, 90.0, n),
        late_cost_per_day=rng.uniform(0.0, 8.0, n),
        days=7.0 * np.arange(weeks + 10) + 3.0,
    ).total
    deadline = rng.random(n) < 0.3
    curves[deadline, int(rng.integers(1, weeks)) :] = np.inf
    weekly = np.column_stack([curves[:, :weeks], curves[:, weeks:].min(axis=1)])
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    price, interval = rng.uniform(5.0, 60.0, sites), float(rng.choice([4.0, 9.0, 26.0]))
    visited = best_patterns(weekly, first, price, interval)
    for s in range(sites):
        rows = weekly[first[s] : first[s] + counts[s]]
        cost, _ = list_all_patterns(rows, float(price[s]), interval)
        ours = pattern_cost(rows, np.flatnonzero(visited[s]).tolist(), float(price[s]), interval)
        assert ours == pytest.approx(cost, abs=1e-6)


def test_needs_due_together_are_done_together() -> None:
    needs = [cartridge("sediment", "a", 40.0, price=6.0), cartridge("resin", "a", 44.0, price=25.0)]
    (first, *_) = bundle_visits(needs, [BundlingSite("a", HERE)], policy=POLICY)
    assert first.needs == ("sediment", "resin")
    assert first.minutes == POLICY.removal_minutes + 24.0
    assert first.earliest_day <= first.best_day <= first.latest_day
    assert {c.need for c in first.choices} == {"sediment", "resin"}
    assert all(c.saving > 0.0 for c in first.choices)


def test_a_dear_cartridge_with_life_left_waits_for_its_own_visit() -> None:
    needs = [cartridge("sediment", "a", 20.0, price=6.0), cartridge("membrane", "a", 160.0, price=400.0)]
    visits = bundle_visits(needs, [BundlingSite("a", HERE)], policy=POLICY)
    assert [visit.needs for visit in visits] == [("sediment",), ("membrane",)]
    assert [visit.number for visit in visits] == [0, 1]


def test_an_exhausted_lead_waits_for_the_visit_another_need_makes() -> None:
    lead = replace(
        cartridge("lead resin", "a", 120.0, price=25.0),
        kind=NeedKind.ROTATE,
        exhausted_quantile_days=(0.0,) * 7,
        exhausted_cost_per_day=0.1,
        remaining_share=0.0,
    )
    alone = bundle_visits([lead], [BundlingSite("a", HERE)], policy=POLICY)[0]
    assert alone.best_day > 40
    along = bundle_visits([lead, cartridge("sediment", "a", 25.0)], [BundlingSite("a", HERE)], policy=POLICY)[0]
    assert along.needs == ("lead resin", "sediment")
    assert along.best_day < 25
    text = along.choices[0].sentence
    assert "over 99 % likely to be exhausted by the visit, and under 1 % that the lag after it is exhausted too" in text
    # the same lead without a lag that holds is late from today on
    bare = replace(lead, quantile_days=(0.0,) * 7, exhausted_quantile_days=())
    assert bundle_visits([bare], [BundlingSite("a", HERE)], policy=POLICY)[0].best_day < 7


def test_what_lasts_beyond_the_weeks_is_left_alone() -> None:
    assert bundle_visits([cartridge("membrane", "a", 900.0)], [BundlingSite("a", HERE)], policy=POLICY) == []


def test_a_short_lived_cartridge_is_changed_again() -> None:
    need = cartridge("resin", "a", 20.0, fresh_life_days=50.0)
    visits = bundle_visits([need], [BundlingSite("a", HERE)], policy=POLICY)
    assert len(visits) >= 3
    gaps = np.diff([visit.best_day for visit in visits])
    assert np.all((gaps > 20) & (gaps < 75))


@settings(max_examples=40)
@given(st.integers(0, 10_000))
def test_a_cartridge_is_changed_once_on_a_visit(seed: int) -> None:
    rng = np.random.default_rng(seed)
    needs = [
        cartridge(str(k), "a", float(rng.uniform(1, 120)), fresh_life_days=float(rng.uniform(20, 200)))
        for k in range(int(rng.integers(1, 6)))
    ]
    visits = bundle_visits(needs, [BundlingSite("a", HERE)], policy=POLICY)
    for visit in visits:
        assert len(set(visit.needs)) == len(visit.needs)
        assert visit.minutes == POLICY.removal_minutes + 12.0 * len(visit.needs)
    for need in needs:
        days = [visit.best_day for visit in visits if need.key in visit.needs]
        assert all(gap >= 7 for gap in np.diff(days))


def test_worse_water_is_seen_to_sooner() -> None:
    def best_day(late: float) -> int:
        return bundle_visits([cartridge("resin", "a", 60.0, late=late)], [BundlingSite("a", HERE)], policy=POLICY)[
            0
        ].best_day

    assert best_day(1.0) > best_day(5.0) > best_day(40.0)


def test_a_deadline_is_kept_and_forces_the_visit() -> None:
    need = Need("check", "a", "unit", NeedKind.INSPECT, minutes=10.0, deadline_day=3)
    (visit,) = bundle_visits([need], [BundlingSite("a", HERE)], policy=POLICY)
    assert visit.urgent
    assert visit.latest_day <= 3
    assert [math.isfinite(cost) for cost in visit.cost_by_day] == [True, True, True, True, False]


def test_nothing_is_done_before_its_first_day() -> None:
    need = Need("start", "a", "unit", NeedKind.COMMISSION, minutes=90.0, not_before_day=17, late_cost_per_day=20.0)
    (visit,) = bundle_visits([need], [BundlingSite("a", HERE)], policy=POLICY)
    assert visit.best_day >= 17
    assert visit.earliest_day >= 17
    assert all(math.isinf(cost) for cost in visit.cost_by_day)


def test_an_urgent_need_is_planned_within_the_routed_days() -> None:
    need = cartridge("carbon", "a", 300.0, urgent=True)
    (visit,) = bundle_visits([need], [BundlingSite("a", HERE)], policy=POLICY)
    assert visit.urgent
    assert visit.best_day < POLICY.horizon_days


def test_an_overdue_deadline_means_now() -> None:
    need = Need("check", "a", "unit", NeedKind.SANITISE, minutes=25.0, deadline_day=-12)
    (visit,) = bundle_visits([need], [BundlingSite("a", HERE)], policy=POLICY)
    assert (visit.best_day, visit.urgent) == (0, True)
    assert visit.latest_day < POLICY.horizon_days
    assert "its deadline passed 12 days ago" in visit.choices[0].sentence


def test_a_deadline_before_another_needs_first_day_makes_two_visits_of_one_week() -> None:
    check = Need("check", "a", "unit", NeedKind.INSPECT, minutes=10.0, deadline_day=8)
    start = Need("start", "a", "unit", NeedKind.COMMISSION, minutes=90.0, not_before_day=11, deadline_day=13)
    visits = bundle_visits([check, start], [BundlingSite("a", HERE)], policy=POLICY)
    assert [visit.needs for visit in visits] == [("check",), ("start",)]
    assert visits[0].latest_day <= 8
    assert visits[1].earliest_day >= 11
    assert "it must be done by its deadline in 8 days" in visits[0].choices[0].sentence


@settings(max_examples=60)
@given(st.integers(0, 10_000))
def test_no_deadline_is_passed_and_nothing_is_done_before_its_first_day(seed: int) -> None:
    rng = np.random.default_rng(seed)
    needs = []
    for key in map(str, range(int(rng.integers(1, 9)))):
        first = int(rng.integers(0, 150)) if rng.random() < 0.4 else None
        last = (first or 0) + int(rng.integers(0, 40)) if rng.random() < 0.7 else None
        kind = rng.choice([NeedKind.SANITISE, NeedKind.INSPECT, NeedKind.COMMISSION, NeedKind.REPLACE])
        worn = tuple(SPREAD * rng.uniform(1.0, 400.0)) if kind == NeedKind.REPLACE else ()
        needs.append(
            Need(
                key,
                "a",
                "unit",
                NeedKind(kind),
                minutes=10.0,
                not_before_day=first,
                deadline_day=last,
                quantile_days=worn,
                price=float(rng.uniform(0.0, 90.0)),
                late_cost_per_day=float(rng.choice([0.0, 0.5, 6.0])),
                urgent=bool(rng.random() < 0.1),
            )
        )
    visits = bundle_visits(needs, [BundlingSite("a", HERE)], policy=POLICY)
    planned = {key: visit for visit in reversed(visits) for key in visit.needs}
    for need in needs:
        if need.deadline_day is not None:
            assert planned[need.key].latest_day <= need.deadline_day
        if need.not_before_day is not None and need.key in planned:
            assert planned[need.key].earliest_day >= need.not_before_day


def test_a_far_site_is_visited_less_often() -> None:
    near = [Place(50.0 + k * 0.01, 9.0) for k in range(30)]
    far = Place(51.5, 11.0)
    cost = travel_cost_estimate([*near, far], [near[0]], policy=POLICY)
    assert cost[-1] > 3 * cost[:-1].max()
    sites = [BundlingSite(str(k), place) for k, place in enumerate([*near, far])]
    needs = [
        cartridge(f"{what} {site.key}", site.key, days, fresh_life_days=days)
        for site in (sites[3], sites[-1])
        for what, days in (("sediment", 45.0), ("resin", 80.0))
    ]
    visits = bundle_visits(needs, sites, policy=POLICY, bases=[near[0]])
    assert sum(v.site == "30" for v in visits) < sum(v.site == "3" for v in visits)


def test_sites_do_not_touch_one_another() -> None:
    rng = np.random.default_rng(5)
    sites = [BundlingSite(str(k), Place(50.0 + rng.normal() / 10, 9.0 + rng.normal() / 10)) for k in range(40)]
    needs = [
        cartridge(f"{s.key}.{j}", s.key, float(rng.uniform(5, 200)), price=float(rng.uniform(5, 80)))
        for s in sites
        for j in range(int(rng.integers(1, 7)))
    ]
    together = bundle_visits(needs, sites, policy=POLICY)
    shuffled = bundle_visits([needs[k] for k in rng.permutation(len(needs))], sites, policy=POLICY)
    assert [(v.site, v.week, sorted(v.needs)) for v in together] == [
        (v.site, v.week, sorted(v.needs)) for v in shuffled
    ]
    only = bundle_visits([n for n in needs if n.site == "7"], sites, policy=POLICY)
    assert [(v.week, v.needs, v.cost_by_day) for v in only] == [
        (v.week, v.needs, v.cost_by_day) for v in together if v.site == "7"
    ]


def test_it_explains_itself_in_money() -> None:
    needs = [cartridge("sediment", "a", 20.0, price=6.0), cartridge("lead resin", "a", 45.0, price=25.0)]
    visit = bundle_visits(needs, [BundlingSite("a", HERE)], policy=POLICY)[0]
    resin = next(c for c in visit.choices if c.need == "lead resin")
    assert resin.sentence.startswith("Lead resin: ")
    assert f"{resin.waste_on_visit:.2f} EUR of its remaining life is lost" in resin.sentence
    assert f"saves {resin.saving:.2f} EUR over the next best way" in resin.sentence
    assert "2 tasks together" in visit.sentence


def test_it_says_which_cartridge_sets_the_pace_and_what_a_larger_one_would_save() -> None:
    def sentence(*lives: float) -> str:
        needs = [
            cartridge(name, "a", 30.0, fresh_life_days=life)
            for name, life in zip(("sediment", "carbon", "resin"), lives, strict=False)
        ]
        return bundle_visits(needs, [BundlingSite("a", HERE)], policy=POLICY)[0].sentence

    price = POLICY.visit_cost + POLICY.removal_minutes * POLICY.working_cost_per_minute
    # 365/50 visits a year become 365/100; with a resin of 70 days beside it, 365/70
    assert "sediment, which lasts about 50 days; one that lasts twice as long would save about 4 visits a year, " in (
        sentence(50.0, 365.0, 180.0)
    )
    assert f"{(365 / 50 - 365 / 70) * price:.2f} EUR." in sentence(50.0, 365.0, 70.0)
    assert "pace" not in sentence(50.0, 365.0, 52.0)
    assert "pace" not in sentence(200.0, 365.0, 400.0)
    assert "pace" not in sentence(50.0, 365.0, math.nan)


def test_only_what_wears_is_called_exhausted() -> None:
    worn = cartridge("lead resin", "a", 2.0, price=25.0)
    wash = replace(cartridge("tank", "a", 2.0, price=0.0), kind=NeedKind.SANITISE)
    choices = bundle_visits([worn, wash], [BundlingSite("a", HERE)], policy=POLICY)[0].choices
    sentences = {choice.need: choice.sentence for choice in choices}
    assert "likely to be exhausted by the visit" in sentences["lead resin"]
    assert "likely to be due by the visit" in sentences["tank"]
    assert "exhausted" not in sentences["tank"]


@pytest.mark.parametrize(
    ("needs", "sites", "field"),
    [
        ([cartridge("x", "b", 5.0)], [BundlingSite("a", HERE)], "x.site"),
        ([cartridge("x", "a", 5.0)] * 2, [BundlingSite("a", HERE)], "needs"),
        ([], [BundlingSite("a", HERE)] * 2, "sites"),
    ],
)
def test_wrong_keys_are_named(needs: list[Need], sites: list[BundlingSite], field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        bundle_visits(needs, sites, policy=POLICY)
    assert caught.value.field == field


def test_nothing_to_do() -> None:
    assert bundle_visits([], [], policy=POLICY) == []
    assert bundle_visits([], [BundlingSite("a", HERE)], policy=POLICY) == []


@pytest.mark.parametrize("target_risk", [0.1, 0.3, 0.6])
def test_the_due_window_closes_before_the_risk_is_more_than_the_target(target_risk: float) -> None:
    # by money alone every day of the weeks would do
    need = cartridge("resin", "a", 60.0)
    policy = replace(POLICY, target_risk=target_risk, due_window_tolerance=10_000.0)
    (first, *_) = bundle_visits([need], [BundlingSite("a", HERE)], policy=policy)
    risk = exhausted_probability([need.quantile_days], np.arange(200.0))[0]
    allowed = int(np.flatnonzero(risk <= target_risk)[-1])
    assert (first.earliest_day, first.latest_day) == (0, max(allowed, first.best_day))
    assert allowed > first.best_day or target_risk < 0.3


def test_a_filter_fitted_five_days_ago_is_not_changed_again_because_somebody_comes_for_something_else() -> None:
    def filter_aged(days: float) -> Need:
        left = 180.0 - days
        need = cartridge("sediment", "a", left, price=4.0, late=3.0)
        return replace(need, remaining_share=left / 180.0, fresh_life_days=180.0)

    leak = Need("leak", "a", "unit", NeedKind.REPAIR, minutes=30.0, urgent=True, deadline_day=0)
    first, *later = bundle_visits([leak, filter_aged(5.0)], [BundlingSite("a", HERE)], policy=POLICY)
    assert first.needs == ("leak",)
    assert [visit.needs for visit in later] == [("sediment",)]
    # one that is due soon by itself goes along
    along = bundle_visits([leak, filter_aged(80.0)], [BundlingSite("a", HERE)], policy=POLICY)
    assert along[0].needs == ("leak", "sediment")


def test_a_sound_cartridge_waits_for_the_next_visit_where_one_is_seen_to_come() -> None:
    """The filter is exhausted today and lasts 60 days, so somebody comes around day 60, 120 and 180 anyway."""
    blocked = replace(cartridge("sediment", "a", 0.0, late=25.0), quantile_days=(0.0,) * 7, remaining_share=0.0)
    carbon = replace(cartridge("carbon", "a", 130.0, price=12.0), remaining_share=0.5, fresh_life_days=260.0)
    seen_to_come = replace(blocked, fresh_life_days=60.0)
    first, *later = bundle_visits([seen_to_come, carbon], [BundlingSite("a", HERE)], policy=POLICY)
    assert first.needs == ("sediment",)
    assert sum("carbon" in visit.needs for visit in later) == 1


def test_what_goes_on_condition_holds_up_no_other_work() -> None:
    """A membrane that will be more likely exhausted than not in three days, beside a filter blocked today."""
    blocked = replace(cartridge("sediment", "a", 0.0, late=25.0), quantile_days=(0.0,) * 7, remaining_share=0.0)
    alone, *_ = bundle_visits([blocked], [BundlingSite("a", HERE)], policy=POLICY)
    dates = tuple(SPREAD * 3.0)
    membrane = replace(
        cartridge("membrane", "a", 3.0, price=60.0, late=1.0),
        not_before_day=first_day_on_condition(dates, 0.5),
    )
    first, *_ = bundle_visits([blocked, membrane], [BundlingSite("a", HERE)], policy=POLICY)
    assert (first.best_day, first.needs) == (alone.best_day, ("sediment",))


def test_it_explains_itself_in_the_language_that_is_spoken() -> None:
    needs = [cartridge("sediment", "a", 20.0, price=6.0), cartridge("lead resin", "a", 45.0, price=25.0)]
    with speak(PSEUDO):
        visit = bundle_visits(needs, [BundlingSite("a", HERE)], policy=POLICY)[0]
    assert len(visit.choices) == 2
    assert not [text for text in (visit.sentence, *(c.sentence for c in visit.choices)) if english_in(text, "EUR")]


def test_a_visit_lasts_as_the_shortest_life_at_its_site_but_no_longer_than_twice_the_usual_interval() -> None:
    """Waiting saves the price of a visit over the time it lasts: the policy's interval where no life is told."""

    def costs(*lives: float) -> list[float]:
        needs = [cartridge(str(k), "a", 40.0, fresh_life_days=life) for k, life in enumerate(lives)]
        return list(bundle_visits(needs, [BundlingSite("a", HERE)], policy=POLICY)[0].cost_by_day)

    usual = 7.0 * POLICY.visit_interval_weeks
    assert costs(2.0 * usual) == costs(2.1 * usual) == costs(9.0 * usual)
    assert costs(1.9 * usual) != costs(2.0 * usual)
    assert costs(math.nan) == pytest.approx(costs(usual))
    assert costs(1.2 * usual, 9.0 * usual) == pytest.approx(costs(1.2 * usual, math.nan))
    assert costs(1.2 * usual, 9.0 * usual) != pytest.approx(costs(1.3 * usual, 9.0 * usual))


def test_one_place_far_away_does_not_make_the_visits_of_a_small_company_dear() -> None:
    town = [Place(53.5 + 0.01 * k, 10.0 + 0.013 * (k % 3)) for k in range(11)]
    alone = travel_cost_estimate(town, policy=POLICY)
    mistyped = travel_cost_estimate([*town, Place(5.35, 10.0)], policy=POLICY)
    assert mistyped[:-1].max() < 3.0 * alone.max()
    assert mistyped[-1] > 50.0 * alone.max()
