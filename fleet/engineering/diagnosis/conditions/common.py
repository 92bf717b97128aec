"""What the conditions share: how a confidence grows, and what counts as a normal flow."""

import math
from typing import Final

from fleet.engineering.diagnosis.facts import Facts

REST_LOW: Final = 0.90
REST_HIGH: Final = 1.15
BEHIND_ITS_CAUSE: Final = 0.4
"""What a sign is worth beside the finding that explains it: it stands behind that."""


def surely(margin: float, *, at_limit: float = 0.55, best: float = 0.95) -> float:
    """Return a confidence that grows with the margin beyond a limit, in units of what is clear.

    Examples
    --------
    >>> round(surely(0.0), 2), round(surely(2.0), 2)
    (0.55, 0.9)
    """
    return at_limit + (best - at_limit) * (1.0 - math.exp(-max(margin, 0.0)))


def normalised_flow_is_normal(f: Facts) -> bool | None:
    """Return whether the normalised flow is as it was; None when it is not known."""
    flow = f.number("normalised_flow_ratio")
    return None if flow is None else REST_LOW <= flow <= REST_HIGH
