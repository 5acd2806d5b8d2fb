"""Who is hidden from whom, and what of each other's they are not shown."""

from collections.abc import Iterable, Set
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from exchange.models import Block, Notification, Offer, WantedCross
from exchange.selectors.prepared import GROWER, Prepared
from growers import handle
from growers.models import Grower


def blocks_of(grower: Grower) -> QuerySet[Block]:
    """Whom a grower has blocked; nobody else reads it."""
    return Block.objects.filter(grower=grower).select_related("blocked")


def hidden_from(grower: Grower) -> frozenset[int]:
    """Ids of growers that a grower must not meet, whoever of the two blocked."""
    return frozenset(one for pair in _BLOCKS.rows(grower_id=grower.pk) for one in pair) - {grower.pk}


_BLOCKS = Prepared(
    lambda: Block.objects.filter(Q(grower=GROWER) | Q(blocked=GROWER)).values_list("grower", "blocked")
)


def hidden_from_each(growers: Set[int]) -> dict[int, frozenset[int]]:
    """For each of these ids what ``hidden_from`` says of it; one query."""
    blocks = Block.objects.filter(Q(grower__in=growers) | Q(blocked__in=growers))
    apart = _both_ways(blocks.values_list("grower", "blocked"))
    return {each: frozenset(other for one, other in apart if one == each) for each in growers}


def are_hidden(one: Grower, other: Grower) -> bool:
    """Whether either has blocked the other."""
    return Block.objects.filter(between("grower", "blocked", one, other)).exists()


def between(first: str, second: str, one: Grower, other: Grower) -> Q:
    """Rows whose two columns are these two growers, either way round."""
    return Q(**{first: one, second: other}) | Q(**{first: other, second: one})


def pairs_kept_apart() -> frozenset[tuple[int, int]]:
    """Offers and wanted crosses, by their ids, of growers who must not meet; three queries."""
    apart = _both_ways(Block.objects.values_list("grower", "blocked"))
    growers = {one for one, _ in apart}
    offers = _ids_by_grower(Offer.objects.filter(plant__grower__in=growers), "plant__grower")
    crosses = _ids_by_grower(
        WantedCross.objects.filter(seed_parent__grower__in=growers), "seed_parent__grower"
    )
    return frozenset(
        (offer, wanted)
        for donor, recipient in apart
        for offer in offers.get(donor, ())
        for wanted in crosses.get(recipient, ())
    )


def _both_ways(blocks: Iterable[tuple[int, int]]) -> set[tuple[int, int]]:
    pairs = set(blocks)
    return pairs | {(blocked, grower) for grower, blocked in pairs}


def _ids_by_grower(rows: QuerySet[Any], grower: str) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for owner, pk in rows.values_list(grower, "pk"):
        found.setdefault(owner, []).append(pk)
    return found


def notifications_open(grower: Grower) -> QuerySet[Notification]:
    """What a grower was told, without what is about a grower hidden from them; two queries.

    That an agreement has ended with the block itself stays told.
    """
    hidden = hidden_from(grower)
    donors, recipients = "pairing__offer__plant__grower__in", "pairing__wanted_cross__seed_parent__grower__in"
    about_pairing = Q(**{donors: hidden}) | Q(**{recipients: hidden})
    before_block = Exists(blocks_of_event(grower).filter(created_at__gt=OuterRef("event__created_at")))
    return Notification.objects.filter(~before_block, grower=grower).exclude(about_pairing)


def blocks_of_event(grower: Grower) -> QuerySet[Block]:
    """Blocks between a grower and the other of a notification's event, whenever made."""
    by_grower = by_other = Q()
    for side in ("donor", "recipient"):
        other = OuterRef(f"event__agreement__{side}")
        by_grower, by_other = by_grower | Q(blocked=other), by_other | Q(grower=other)
    either_way = Q(grower=grower) & by_grower | Q(blocked=grower) & by_other
    return Block.objects.filter(either_way)


def grower_to_block(actor: Grower, text: str) -> Grower | None:
    """The grower with this handle; None for nobody, for oneself and for a closed account alike."""
    known = Grower.objects.filter(handle=handle.normalized(text), closed_at__isnull=True)
    return known.exclude(pk=actor.pk).first()
