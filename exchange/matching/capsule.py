"""The chance of at least one capsule when a packet holds several doses."""

import numpy as np

from exchange.science.arrays import FloatArray


def any_capsule_chance(success: FloatArray, rate: FloatArray, doses: int) -> FloatArray:
    """Chance that at least one of ``doses`` doses, used on the flowers as they open, gives a capsule.

    Compatibility and the life of the pollen are common to all doses of one draw. Multiplying mean
    chances as if they were independent would overstate what more doses add.

    Parameters
    ----------
    success : array (cases, days)
        Chance that a pollination on each day takes, for each case (a draw together with a bloom scenario).
    rate : array (cases, days)
        Expected receptive flowers of each day in the same cases.
    doses : int
        Doses in the packet, 1 to 12.

    Returns
    -------
    array (cases,)

    Raises
    ------
    ValueError
        If ``doses`` is out of range.
    """
    if not 1 <= doses <= 12:
        raise ValueError(f"doses is {doses}; allowed: 1 to 12.")
    if doses == 1:
        return _first_flower(success, rate)
    cases, days = success.shape
    none = np.ones((cases, doses + 1))
    for day in range(days - 1, -1, -1):
        none = _before_day(none, success[:, day], rate[:, day])
    return 1.0 - none[:, doses]


def _first_flower(success: FloatArray, rate: FloatArray) -> FloatArray:
    """One dose is used on the first flower that opens: no recursion is needed."""
    reached = np.zeros((rate.shape[0], rate.shape[1] + 1))
    reached[:, 1:] = -np.expm1(-np.cumsum(rate, axis=1))
    return np.asarray((np.diff(reached, axis=1) * success).sum(axis=1), dtype=np.float64)


def _before_day(none: FloatArray, success: FloatArray, rate: FloatArray) -> FloatArray:
    """Chance of no capsule with so many doses left in the morning, from that of the evening."""
    doses = none.shape[1] - 1
    earlier = np.ones_like(none)
    for left in range(1, doses + 1):
        flowers = np.exp(-rate)
        seen = flowers.copy()
        total = flowers * none[:, left]
        for used in range(1, left):
            flowers = flowers * rate / used
            seen += flowers
            total += flowers * (1.0 - success) ** used * none[:, left - used]
        earlier[:, left] = total + (1.0 - seen) * (1.0 - success) ** left
    return earlier
