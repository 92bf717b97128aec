"""Amounts of money as exact decimals: how they are rounded, and how one is shared without losing a cent."""

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

CENT: Final = Decimal("0.01")


def rounded(amount: Decimal) -> Decimal:
    """An amount to two decimals, half a cent away from zero.

    >>> rounded(Decimal("0.005")), rounded(Decimal("-0.005")), rounded(Decimal("2.675"))
    (Decimal('0.01'), Decimal('-0.01'), Decimal('2.68'))
    """
    return amount.quantize(CENT, rounding=ROUND_HALF_UP)


def exact(number: float) -> Decimal:
    """A setting that is kept as a float, as the decimal that people wrote.

    >>> exact(0.6) * 45
    Decimal('27.0')
    """
    return Decimal(str(number))


def shared(amount: Decimal, weights: Sequence[float]) -> list[Decimal]:
    """Share an amount of whole cents in proportion to weights; the shares are whole cents and add up to it.

    The cents that are left over by rounding down go to the largest remainders, the first of equal ones first. Weights
    that are all 0 count alike.

    >>> shared(Decimal("10.00"), [1.0, 1.0, 1.0])
    [Decimal('3.34'), Decimal('3.33'), Decimal('3.33')]
    """
    cents = int((amount / CENT).to_integral_exact())
    return [CENT * share for share in shared_whole(cents, weights)]


def shared_whole(count: int, weights: Sequence[float]) -> list[int]:
    """Share a whole number, such as minutes, in proportion to weights; the shares are whole and add up to it.

    >>> shared_whole(50, [12.0, 25.0]), shared_whole(7, [0.0, 0.0]), shared_whole(3, [])
    ([16, 34], [4, 3], [])
    """
    if not weights:
        return []
    total = sum(weights)
    parts = [weight / total for weight in weights] if total > 0.0 else [1.0 / len(weights)] * len(weights)
    exact_shares = [count * part for part in parts]
    shares = [int(share // 1) for share in exact_shares]
    by_remainder = sorted(range(len(parts)), key=lambda k: (shares[k] - exact_shares[k], k))
    for k in by_remainder[: count - sum(shares)]:
        shares[k] += 1
    return shares
