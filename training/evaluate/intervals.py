"""How far a share that was counted may be off."""

from __future__ import annotations

import math
from statistics import NormalDist


def wilson(right: float, of: float, level: float = 0.95) -> tuple[float, float]:
    """Low and high end of the interval of a share (Wilson 1927); 0 and 1 when nothing was counted.

    >>> [round(end, 3) for end in wilson(9, 10)]
    [0.596, 0.982]
    """
    if of <= 0:
        return 0.0, 1.0
    z = NormalDist().inv_cdf((1 + level) / 2)
    share = right / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    # The ends that are 0 and 1 by the formula must be so in numbers too.
    return (0.0 if right <= 0 else max(middle - half, 0.0)), (1.0 if right >= of else min(middle + half, 1.0))
