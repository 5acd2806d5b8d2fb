"""Chances in words: never more precise than they are."""

from django.utils.translation import gettext as _

PLAIN_SHARES = ((1, 5), (1, 4), (1, 3), (1, 2), (2, 3), (3, 4), (4, 5), (9, 10))
SMALLEST_SHOWN = 0.01
ONE_IN_BELOW = 0.20


def chance_in_words(chance: float) -> str:
    """A chance as "about 1 in 8"; below 1 % "under 1 in 100", never "0".

    Raises
    ------
    ValueError
        If ``chance`` is outside 0–1.
    """
    if not 0.0 <= chance <= 1.0:
        raise ValueError(f"chance is {chance}; allowed: 0 to 1.")
    if chance < SMALLEST_SHOWN:
        return _("under 1 in 100")
    if chance < ONE_IN_BELOW:
        return _("about 1 in {count}").format(count=round(1.0 / chance))
    if chance > 0.95:
        return _("more than 19 in 20")
    part, whole = min(PLAIN_SHARES, key=lambda share: abs(share[0] / share[1] - chance))
    return _("about {part} in {whole}").format(part=part, whole=whole)


def percent(chance: float) -> str:
    """A chance in percent: whole numbers, one decimal below 10 %, "under 1 %" below that."""
    if chance < SMALLEST_SHOWN:
        return _("under 1 %")
    digits = 1 if round(chance, 3) < 0.1 else 0
    return f"{100.0 * chance:.{digits}f} %"
