"""Rounding and sharing of money: no cent is lost, and half a cent goes away from zero."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.money.amounts import rounded, shared, shared_whole

weights = st.lists(st.floats(0.0, 1e6), min_size=1, max_size=12)


@pytest.mark.parametrize(
    ("amount", "expected"),
    [("0.125", "0.13"), ("0.135", "0.14"), ("-0.125", "-0.13"), ("2.5", "2.50"), ("0.12499", "0.12")],
)
def test_half_a_cent_goes_away_from_zero(amount: str, expected: str) -> None:
    assert str(rounded(Decimal(amount))) == expected


@given(cents=st.integers(0, 10**9), weights=weights)
def test_shares_add_up_and_each_is_a_whole_number_of_cents(cents: int, weights: list[float]) -> None:
    amount = Decimal(cents) / 100
    shares = shared(amount, weights)
    assert sum(shares) == amount
    assert len(shares) == len(weights)
    assert all(share >= 0 and share == rounded(share) for share in shares)


@given(count=st.integers(0, 10**6), weights=weights)
def test_no_share_is_a_whole_piece_off_its_proportion(count: int, weights: list[float]) -> None:
    total = sum(weights)
    for share, weight in zip(shared_whole(count, weights), weights, strict=True):
        exact = count * weight / total if total else count / len(weights)
        assert abs(share - exact) <= 1.0 + 1e-6
