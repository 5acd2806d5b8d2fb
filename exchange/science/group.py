"""The seven groups that compatibility, season and heat are keyed by."""

from exchange.science.check import check_choice

GROUPS = (
    "hardy",
    "brachyceras",
    "anecphya",
    "lotos",
    "hydrocallis",
    "victoria",
    "nelumbo",
)

_SYNONYMS = {"nymphaea": "hardy", "confluentes": "anecphya"}


def group_key(name: str) -> str:
    """Translate a group's name as printed in the literature into the project's key.

    Parameters
    ----------
    name : str
        A group word in any case; ``Nymphaea`` is read as the *subgenus* (the hardy lilies), never
        as the genus, and ``Confluentes`` as a part of *Anecphya*.

    Returns
    -------
    str
        One of ``GROUPS``.

    Raises
    ------
    ValueError
        If the word names no group; the sentence lists the allowed words.

    References
    ----------
    Borsch et al. 2007, Int. J. Plant Sci. 168(5):639-671 (clades; abstract). That *Confluentes*
    counts as *Anecphya* for crossing is a judgement.
    """
    word = name.strip().casefold()
    if word not in _SYNONYMS and word not in GROUPS:
        check_choice("group", name, GROUPS + tuple(_SYNONYMS))
    return _SYNONYMS.get(word, word)
