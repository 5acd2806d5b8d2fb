"""The chance of at least one capsule when a packet holds several doses."""

import numpy as np
from scipy import special

from exchange.science.arrays import FloatArray

MOST_DOSES = 12


def any_capsule_chance(success: FloatArray, rate: FloatArray, doses: int) -> FloatArray:
    """Chance that at least one of ``doses`` doses, used on the flowers as they open, gives a capsule.

    Compatibility and the life of the pollen are common to all doses of one draw. Multiplying mean
    chances as if they were independent would overstate what more doses add.

    Parameters
    ----------
    success : array (…, days)
        Chance that a pollination on each day takes, for each case (a draw together with a bloom scenario).
    rate : array (…, days)
        Expected receptive flowers of each day in the same cases, or in some that broadcast with them.
    doses : int
        Doses in the packet, 1 to 12.

    Returns
    -------
    array (…,)

    Raises
    ------
    ValueError
        If ``doses`` is out of range.

    Notes
    -----
    Flowers on which a pollination takes and flowers on which it fails open as two independent Poisson
    processes, and there is a capsule where one of the first kind opens after fewer than ``doses`` of the
    second. On a day that opens r flowers after R, of which the share f fails, after F failures expected,
    its chance integrates to (1 − f) · Σ over j < doses of f^j · e^(−R) P(Poisson(r) > j) · Σ over
    i < doses − j of F^i / i!.
    """
    if not 1 <= doses <= MOST_DOSES:
        raise ValueError(f"doses is {doses}; allowed: 1 to {MOST_DOSES}.")
    reached = np.exp(-_before(rate))
    chance = reached * special.gammainc(doses, rate)
    if doses > 1:
        failing = 1.0 - success
        failed = _before(rate * failing)
        few = term = np.ones_like(failed)
        # Horner's rule in the share that fails, from the innermost term on.
        for left in range(1, doses):
            term = term * failed / left
            few = few + term
            chance = chance * failing + reached * special.gammainc(doses - left, rate) * few
    return np.asarray((success * chance).sum(axis=-1), dtype=np.float64)


def _before(daily: FloatArray) -> FloatArray:
    """What is expected before each day."""
    total = np.zeros_like(daily)
    np.cumsum(daily[..., :-1], axis=-1, out=total[..., 1:])
    return total
