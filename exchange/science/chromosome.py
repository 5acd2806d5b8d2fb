"""Chromosome counts: ploidy, the count to expect of offspring, and a warning about their fertility."""

from collections.abc import Sequence
from typing import Literal

from exchange.science.check import check_range
from exchange.science.constants import BASE_CHROMOSOME_NUMBER

WarningLevel = Literal["unknown", "none", "weak", "strong"]

_SEVERITY: dict[WarningLevel, int] = {"unknown": 0, "none": 1, "weak": 2, "strong": 3}
LOWEST_COUNT = 2
HIGHEST_COUNT = 1000


def _checked(name: str, counts: Sequence[int]) -> tuple[int, ...]:
    for count in counts:
        check_range(name, count, LOWEST_COUNT, HIGHEST_COUNT)
        if count != int(count):
            raise ValueError(f"{name} is {count}; allowed: whole numbers.")
    return tuple(int(count) for count in counts)


def chromosome_counts(text: str) -> tuple[int, ...]:
    """Read the counts (2n) published for a taxon; sources often disagree, so they are a list.

    Parameters
    ----------
    text : str
        Whole numbers 2–1000 parted by semicolons, e.g. ``"56;84"``; empty when none is known.

    Returns
    -------
    tuple of int
        Counts in ascending order, each once.

    Raises
    ------
    ValueError
        If a part is no whole number, or is out of range.
    """
    parts = [part.strip() for part in text.split(";") if part.strip()]
    for part in parts:
        if not part.isdecimal():
            raise ValueError(f"chromosome counts are {text!r}; allowed: whole numbers parted by semicolons.")
    return tuple(sorted(set(_checked("chromosome_count", [int(part) for part in parts]))))


def ploidy(count: int) -> int | None:
    """Give the number of chromosome sets on the base number 14.

    Parameters
    ----------
    count : int
        Somatic count 2n, 2–1000.

    Returns
    -------
    int or None
        ``count / 14``, or None where the count is no multiple of 14.

    Raises
    ------
    ValueError
        If ``count`` is out of range.

    Notes
    -----
    x = 14 outside *Hydrocallis* (memory; the counts seen agree). *Hydrocallis* has 2n = 18 and 20,
    *Victoria* 20 and 24, *Nelumbo* 16: there is no ploidy on x = 14 to speak of, hence None.
    """
    (number,) = _checked("chromosome_count", [count])
    sets, rest = divmod(number, int(BASE_CHROMOSOME_NUMBER.value))
    return sets if rest == 0 else None


def offspring_counts(seed_counts: Sequence[int], pollen_counts: Sequence[int]) -> tuple[float, ...]:
    """Predict the counts of offspring: half the sum of the parents', for each combination.

    Parameters
    ----------
    seed_counts, pollen_counts : sequence of int
        Counts 2n published for each parent, 2–1000; empty when unknown.

    Returns
    -------
    tuple of float
        Ascending, each once; empty if a parent is unknown. Halves occur when a parent is odd: its
        gametes are uneven and the figure is their mean.

    Raises
    ------
    ValueError
        If a count is out of range.
    """
    seeds, pollens = (
        _checked("seed_count", seed_counts),
        _checked("pollen_count", pollen_counts),
    )
    return tuple(sorted({(seed + pollen) / 2.0 for seed in seeds for pollen in pollens}))


def _pair_warning(seed: int, pollen: int) -> WarningLevel:
    if seed == pollen:
        return "none"
    sets = (seed + pollen) / 2.0 / BASE_CHROMOSOME_NUMBER.value
    return "weak" if sets.is_integer() and int(sets) % 2 == 0 else "strong"


def offspring_warning(seed_counts: Sequence[int], pollen_counts: Sequence[int]) -> WarningLevel:
    """Warn that offspring may be sterile; it says nothing against making the cross.

    Parameters
    ----------
    seed_counts, pollen_counts : sequence of int
        Counts 2n published for each parent, 2–1000; empty when unknown.

    Returns
    -------
    str
        ``none`` for equal counts; ``weak`` for different ones whose predicted count is an even
        multiple of 14; ``strong`` where it is odd or an odd or broken multiple of 14; the worst of
        all combinations; ``unknown`` if a parent has no count.

    Raises
    ------
    ValueError
        If a count is out of range.

    Notes
    -----
    Judgement. Equal counts promise nothing: *N. mexicana* × *N. odorata*, both 56, is completely
    sterile (Wiersema 1997, Flora of North America 3), and *N. gigantea*, 224, has given hybrids.
    """
    seeds, pollens = (
        _checked("seed_count", seed_counts),
        _checked("pollen_count", pollen_counts),
    )
    levels = [_pair_warning(seed, pollen) for seed in seeds for pollen in pollens]
    return max(levels, key=_SEVERITY.__getitem__, default="unknown")


def counts_differ(seed_counts: Sequence[int], pollen_counts: Sequence[int]) -> bool | None:
    """Tell whether the parents' counts differ.

    Parameters
    ----------
    seed_counts, pollen_counts : sequence of int
        Counts 2n published for each parent, 2–1000.

    Returns
    -------
    bool or None
        None where either parent has no count or several: then nothing may be concluded.

    Raises
    ------
    ValueError
        If a count is out of range.
    """
    seeds, pollens = (
        set(_checked("seed_count", seed_counts)),
        set(_checked("pollen_count", pollen_counts)),
    )
    if len(seeds) != 1 or len(pollens) != 1:
        return None
    return seeds != pollens
