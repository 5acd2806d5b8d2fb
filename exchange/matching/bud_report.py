"""When a recipient first reports a bud at the surface, and which flowers may follow it."""

import numpy as np
from scipy import stats

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.bloom_chain import BUD_LAG

LONGEST_LAG_DAYS = 13
"""A bud at the surface is in sight for longer in fewer than two seasons of a thousand (by ``BUD_LAG``)."""


NEGLIGIBLE = 1e-6
"""Share of the seasons still without a report, though flowers are to come, that is let go (judgement)."""


def bud_days_chance() -> FloatArray:
    """Chance that a bud is in sight on 1, 2, … days before its flower opens; array (13,), sum 1."""
    lag = BUD_LAG["at the surface"]
    until = stats.norm.cdf((np.arange(LONGEST_LAG_DAYS + 1) - lag.mean) / lag.sd)
    chance: FloatArray = np.diff(until) / (until[-1] - until[0])
    return chance


def first_reports(daily_rate: FloatArray) -> FloatArray:
    """Chance of the first report of a bud on each day, split by the flowers that follow it.

    A grower looks at the pond on a day with ``BUD_LOOK_CHANCE`` and reports a bud if one is in sight. A bud
    is in sight on the days before its flower opens, on as many for all flowers of a season. What a look
    without a bud told is kept: no flower opens on the days for which a bud would have been in sight.

    Parameters
    ----------
    daily_rate : array (scenarios, days)
        Expected new first-day flowers of each day in each scenario, from today on.

    Returns
    -------
    array (days, 14, scenarios)
        Entry (r, k): signed shares whose sum over k is the chance that the first report comes on day r.
        What is worth v(x) to a season whose flowers from day x on are those of ``daily_rate``, and which
        has none before, is worth the sum of shares times v(r + 1 + k): "some flower within the days in
        sight" is all that may come less what comes if none of those opens.
    """
    scenarios, days = daily_rate.shape
    opened = np.zeros((scenarios, days + LONGEST_LAG_DAYS + 2))
    opened[:, 1 : days + 1] = np.cumsum(daily_rate, axis=1)
    opened[:, days + 1 :] = opened[:, [days]]
    shares = np.zeros((days, LONGEST_LAG_DAYS + 1, scenarios))
    # Silent so far, by days in sight and by how many of the days ahead are known to be without a flower.
    silent = np.zeros((LONGEST_LAG_DAYS, LONGEST_LAG_DAYS, scenarios))
    silent[:, 0] = bud_days_chance()[:, None]
    left = np.ones(scenarios)
    first, last = _flowering(daily_rate)
    for day in range(max(first - LONGEST_LAG_DAYS, 0), last):
        ahead = opened[:, day + 1 : day + LONGEST_LAG_DAYS + 2].T
        _look(silent, ahead - ahead[0], shares[day])
        left -= shares[day].sum(axis=0)
        if left @ (opened[:, -1] > ahead[0]) < NEGLIGIBLE * scenarios:
            break
    return shares


def _flowering(daily_rate: FloatArray) -> tuple[int, int]:
    """First and last day with a flower in any scenario; 0, 0 if there is none."""
    flowering = np.flatnonzero(daily_rate.any(axis=0))
    return (int(flowering[0]), int(flowering[-1])) if flowering.size else (0, 0)


def _look(silent: FloatArray, opened: FloatArray, shares: FloatArray) -> None:
    """One day: put the reports into ``shares`` (14, scenarios), leave in ``silent`` who is so the day after.

    ``opened`` are the flowers expected from tomorrow to before each of the days that follow, array
    (14, scenarios).
    """
    looks = constants.BUD_LOOK_CHANCE.value
    none = np.exp(-opened)
    # Nothing between the last day known to be without a flower and the last on which a bud would show.
    unseen = looks * np.einsum("ajs,js->as", silent, 1.0 / none[:-1]) * none[1:]
    shares[:-1] += looks * silent.sum(axis=0)
    shares[1:] -= unseen
    silent *= 1.0 - looks
    unknown = silent[:, 0].copy()
    silent[:, :-1] = silent[:, 1:]
    silent[:, 0] += unknown
    silent[:, -1] = 0.0
    in_sight = np.arange(LONGEST_LAG_DAYS)
    silent[in_sight, in_sight] += unseen
