"""Rows of two tables that share a key."""

import numpy as np

from fleet.forecasting.inputs.tables import Indexes


def match(sorted_keys: Indexes, wanted: Indexes) -> tuple[Indexes, Indexes]:
    """Every pair of a wanted key and a row that has it.

    Parameters
    ----------
    sorted_keys
        Key of every row, rising.
    wanted
        Keys to look for, in any order.

    Returns
    -------
    Index into `wanted`, and row of `sorted_keys`, one each a pair; in the order of `wanted`, then of the rows.

    >>> [pairs.tolist() for pairs in match(np.array([2, 5, 5, 7]), np.array([5, 3, 2]))]
    [[0, 0, 2], [1, 2, 0]]
    """
    first = np.searchsorted(sorted_keys, wanted, side="left")
    number = np.searchsorted(sorted_keys, wanted, side="right") - first
    owner = np.repeat(np.arange(len(wanted)), number)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(number) - number, number)
    return owner, np.repeat(first, number) + within
