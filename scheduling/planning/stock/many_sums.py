"""The sum of thousands of independent numbers of pieces, as a distribution.

Adding them one by one costs the square of their number. The characteristic function of a sum is the product of those of
its terms (Levy's theorem; for a sum of unlike coins Hong 2013, Computational Statistics & Data Analysis 59:41-51, from
memory), and one discrete Fourier transform turns it into probabilities. A sum of thousands lies within a few standard
deviations of its mean, so that it is looked at modulo a number just wider than that, and the few lowest frequencies say
all: what is left out is less than rounding.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from scheduling.planning.needs.need import FloatArray

#: Half the width that is looked at, in standard deviations and in pieces beside: beyond lies less than 1e-16, by
#: Bernstein's inequality for terms of one piece.
_DEVIATIONS: Final = 9.0
_PIECES: Final = 40
#: Frequencies that are worked out together, and the size of a product below which higher ones add nothing.
_BLOCK: Final = 32
_NOTHING: Final = 1e-18


def sums_of_many(terms: FloatArray) -> FloatArray:
    """Distribution of the sum of independent numbers, by day.

    Parameters
    ----------
    terms
        ``(terms, days, numbers)``: the probability of each number from 0 on; sums to 1 along the last axis.

    Returns
    -------
    array ``(days, numbers of the sum)``, as long as the largest sum that is not impossible asks for.

    Examples
    --------
    >>> sums_of_many(np.array([[[0.5, 0.5]], [[0.5, 0.5]]])).round(12)
    array([[0.25, 0.5 , 0.25]])
    """
    rows = [_sum_on_one_day(terms[:, day]) for day in range(terms.shape[1])]
    spread = np.zeros((len(rows), max((first + row.size for first, row in rows), default=1)))
    for day, (first, row) in enumerate(rows):
        spread[day, first : first + row.size] = row
    return spread


def _sum_on_one_day(terms: FloatArray) -> tuple[int, FloatArray]:
    """The least sum that is looked at, and the probabilities from there on."""
    is_certain = terms.max(axis=1, initial=0.0) >= 1.0
    shift = int(terms[is_certain].argmax(axis=1).sum())
    open_terms = terms[~is_certain]
    if not len(open_terms):
        return shift, np.ones(1)
    numbers = np.arange(terms.shape[1])
    means = open_terms @ numbers
    deviation = float(np.sqrt(max(float((open_terms @ numbers**2 - means**2).sum()), 0.0)))
    most = len(open_terms) * (terms.shape[1] - 1)
    half = int(np.ceil(_DEVIATIONS * deviation)) + _PIECES
    first = max(int(means.sum()) - half, 0)
    last = min(int(means.sum()) + half, most)
    width = last - first + 1
    folded = np.fft.irfft(_transform(open_terms, width), n=width) if width > 1 else np.ones(1)
    # number n stands at n modulo the width
    return shift + first, np.maximum(np.roll(folded, -(first % width)), 0.0)


def _transform(terms: FloatArray, width: int) -> np.ndarray[tuple[int, ...], np.dtype[np.complex128]]:
    """Discrete Fourier transform of the sum, modulo a width."""
    product = np.zeros(width // 2 + 1, dtype=np.complex128)
    numbers = np.arange(terms.shape[1])
    for begin in range(0, product.size, _BLOCK):
        frequencies = np.arange(begin, min(begin + _BLOCK, product.size))
        turns = np.exp(-2j * np.pi / width * np.outer(numbers, frequencies))
        # real numbers by pairs of real numbers: a product of matrices would first make complex ones of the terms
        waves = np.einsum("nt,tk->nk", terms, turns.view(np.float64)).view(np.complex128)
        product[frequencies] = np.multiply.reduce(waves, axis=0)
        if np.abs(product[frequencies]).max() < _NOTHING:
            break
    return product
