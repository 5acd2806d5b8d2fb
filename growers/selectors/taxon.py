"""Taxa found by their names as people type them."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from growers.errors import Conflict
from growers.models import Taxon

GENERA = {"n.": "nymphaea", "n": "nymphaea", "v.": "victoria", "v": "victoria"}
"""Abbreviated genera at the beginning of a name; Nelumbo is written out."""

QUOTES = dict.fromkeys(map(ord, "'\"‘’‚‛“”„‟‹›«»`´"))
HYBRID_SIGN = "x"
MOST_FOUND = 50


@dataclass(frozen=True, slots=True)
class TaxonFound:
    """A taxon as a list of choices shows it."""

    public_id: UUID
    name: str
    rank: str
    group: str
    diel: str


def folded(name: str) -> str:
    """A name without case, accents, quotes and hybrid signs; "N. × Thiona" is "nymphaea thiona"."""
    plain = unicodedata.normalize("NFKD", name.translate(QUOTES)).casefold().replace("×", f" {HYBRID_SIGN} ")
    words = "".join(sign for sign in plain if not unicodedata.combining(sign)).split()
    if words:
        words[0] = GENERA.get(words[0], words[0])
    return " ".join(word for word in words if word != HYBRID_SIGN)


def taxon_search(text: str) -> list[TaxonFound]:
    """Taxa whose name holds every word of a text, those that begin with it first; one query."""
    wanted = folded(text)
    found = []
    for taxon in Taxon.objects.order_by("name"):
        name = folded(taxon.name)
        if all(word in name for word in wanted.split()):
            found.append((not name.startswith(wanted), taxon.name, taxon))
    return [
        TaxonFound(taxon.public_id, taxon.name, taxon.rank, taxon.group, taxon.diel)
        for _, _, taxon in sorted(found, key=lambda entry: entry[:2])[:MOST_FOUND]
    ]


def group_taxon(group: str) -> Taxon:
    """The row that stands for a whole group; ``Conflict`` while the reference tables are not loaded."""
    found = Taxon.objects.filter(rank=Taxon.Rank.GROUP, group=group).first()
    if found is None:
        raise Conflict(
            f"The reference tables have no entry for the group {group}; whoever runs this server loads them."
        )
    return found


def taxa_by_name(names: Iterable[str]) -> dict[str, Taxon]:
    """The taxon of each name as typed: the one with this very name, or the only one alike; one query."""
    typed = {name: folded(name) for name in names if name}
    wanted = set(typed.values())
    meant: dict[str, list[Taxon]] = {}
    for taxon in Taxon.objects.all() if wanted else ():
        if (name := folded(taxon.name)) in wanted:
            meant.setdefault(name, []).append(taxon)
    alike = {name: meant[key][0] for name, key in typed.items() if len(meant.get(key, ())) == 1}
    exact = {taxon.name: taxon for taxa in meant.values() for taxon in taxa if taxon.name in typed}
    return alike | exact
