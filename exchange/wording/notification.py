"""A notification as a sentence for its reader; the donor reads nothing that tells who asks, or for what."""

from collections.abc import Mapping
from typing import cast

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from exchange.models import Notification, Pairing
from exchange.wording.agreement import event_sentence, own_event_sentence
from exchange.wording.catalogue import sentence
from exchange.wording.lot import custody_sentence
from exchange.wording.pairing import chance_sentence, posting_sentence
from exchange.wording.papers import papers_record
from exchange.wording.recall import recall_sentence
from exchange.wording.region import region_words
from growers.models import Site
from growers.selectors.site import region

Kind = Notification.Kind

TO_DONOR: Mapping[str, str | Promise] = {
    Kind.PROPOSED: gettext_lazy(
        "Someone in this region: {region}, would like pollen of your {plant}. To post: {posting}; {chance}."
    ),
    Kind.CHANGED: gettext_lazy(
        "Pollen of your {plant} for someone in this region: {region}. The plan has changed. To post:"
        " {posting}; {chance}."
    ),
    Kind.WITHDRAWN: gettext_lazy(
        "Pollen of your {plant} for someone in this region: {region}. It is no longer proposed."
    ),
}
TO_RECIPIENT: Mapping[str, str | Promise] = {
    Kind.PROPOSED: gettext_lazy(
        "{donor} ({region}) could send pollen of {plant} for your {seed_parent}. To post: {posting};"
        " {chance}."
    ),
    Kind.CHANGED: gettext_lazy(
        "Pollen of {plant} from {donor} ({region}) for your {seed_parent}. The plan has changed. To post:"
        " {posting}; {chance}."
    ),
    Kind.WITHDRAWN: gettext_lazy(
        "Pollen of {plant} from {donor} ({region}) for your {seed_parent} is no longer proposed."
    ),
}


OF_OFFER: Mapping[str, str | Promise] = {
    Kind.STILL_TRUE: gettext_lazy("Your offer of {plant} is older than a season. Does it still hold?"),
    Kind.PAUSED: gettext_lazy(
        "Your offer of {plant} rests: nobody said that it still holds. Say so, and it is open again."
    ),
}


def notification_sentence(notification: Notification) -> str:
    """What its grower reads; its subject comes with plants, their growers and sites joined."""
    event = notification.event
    if event is not None:
        is_own = event.actor_id == notification.grower_id
        return (own_event_sentence if is_own else event_sentence)(event, notification.grower)
    if notification.offer is not None:
        return str(OF_OFFER[notification.kind]).format(plant=notification.offer.plant.name_as_grown)
    if notification.custody_event is not None:
        return custody_sentence(notification.custody_event)
    if notification.recall is not None:
        return recall_sentence(notification.recall)
    return _of_pairing(notification, cast(Pairing, notification.pairing))


def _of_pairing(notification: Notification, pairing: Pairing) -> str:
    plan = {"posting": posting_sentence(pairing), "chance": chance_sentence(pairing)}
    if pairing.offer.plant.grower_id == notification.grower_id:
        words, other = str(TO_DONOR[notification.kind]).format(**_for_donor(pairing), **plan), _taker(pairing)
    else:
        words = str(TO_RECIPIENT[notification.kind]).format(**_for_recipient(pairing), **plan)
        other = pairing.offer.plant.site
    return words + _because(notification, pairing, other)


def _because(notification: Notification, pairing: Pairing, other: Site) -> str:
    """Why it was withdrawn, where that is told."""
    if notification.kind != Kind.WITHDRAWN or pairing.withdrawn_because is None:
        return ""
    record = papers_record(pairing.withdrawn_because, other)
    return " " + sentence(record["code"], record["parameters"])


def _taker(pairing: Pairing) -> Site:
    return pairing.wanted_cross.seed_parent.site


def _for_donor(pairing: Pairing) -> dict[str, str]:
    where = region_words(region(_taker(pairing)))
    return {"plant": pairing.offer.plant.name_as_grown, "region": where}


def _for_recipient(pairing: Pairing) -> dict[str, str]:
    plant = pairing.offer.plant
    return {
        "plant": plant.name_as_grown,
        "donor": plant.grower.handle,
        "region": region_words(region(plant.site)),
        "seed_parent": pairing.wanted_cross.seed_parent.name_as_grown,
    }
