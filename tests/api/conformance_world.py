"""Rows that requests of the document meet, of each kind one in the state that the act on it needs."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from exchange.api.v1.token import SIGN_IN
from exchange.models import (
    Agreement,
    ApiToken,
    Lot,
    Notification,
    Offer,
    Packet,
    QuietAsk,
    WantedCross,
    WebhookDelivery,
)
from exchange.services.account import email_confirm
from exchange.services.address import address_set
from exchange.services.agreement_change import agreement_send
from exchange.services.agreement_note import note_write
from exchange.services.block import block_create
from exchange.services.border_note import BorderNoteFields, border_note_propose
from exchange.services.calendar_feed import feed_create
from exchange.services.carrier_service import carrier_service_create
from exchange.services.collection import offer_collect
from exchange.services.coordinator import coordinator_grant
from exchange.services.detour import detour_accept, detour_ask, detour_withdraw, detour_yes
from exchange.services.lot import lot_collect
from exchange.services.matching_order import matching_order
from exchange.services.offer import offer_pause
from exchange.services.packet import packet_fill, packet_hand_over
from exchange.services.recall import recall_report
from exchange.services.shipment import shipment_dispatch, shipment_plan
from exchange.services.store import store_create
from exchange.services.wanted_cross import wanted_cross_pause
from growers.models import Grower, Plant, Taxon
from growers.services.bloom import bloom_said_set
from growers.services.grower import grower_create, grower_update
from tests.api.caller import caller
from tests.exchange.bargain import agree, propose
from tests.exchange.gathered import BERLIN, make_deal, make_gathering, site_at
from tests.exchange.logger import make_temperature
from tests.exchange.receiver import make_webhook
from tests.exchange.society import FRANCE, GERMANY, NOON, SUMMER, TODAY, make_groups, make_pairing
from tests.factories import (
    make_grower,
    make_offer,
    make_offer_in_hand,
    make_plant,
    make_season,
    make_site,
    make_taxon,
    make_wanted_cross,
)

KINDS = {
    "site_id": "sites",
    "plant_id": "plants",
    "taxon_id": "taxa",
    "seed_parent_id": "plants",
    "pollen_parent_id": "plants",
    "pollen_plant_id": "plants",
    "pollen_taxon_id": "taxa",
    "agreement_id": "shipments/agreements",
    "gathering_id": "gatherings/agreements",
    "pairing_id": "pairings/agreements",
    "lot_id": "lots/offers",
    "packet_id": "packets",
    "store_id": "stores",
    "carrier_service_id": "carrier-services",
}
"""What an id in a body is of; its plural is a list of them."""

BORDER_NOTE: BorderNoteFields = {
    "kind": "conditions",
    "destination": "DE",
    "text": "ask first",
    "source": "a page",
    "asked_whom": "an office",
    "checked_on": TODAY,
}


@dataclass(frozen=True)
class World:
    """Ids by the collection that they stand under, or by collection and act; tokens of owner and stranger."""

    ids: dict[str, str]
    tokens: dict[str, str]

    def id_at(self, path: str) -> str | None:
        """The id that an address of the document takes."""
        _, _, _, kind, *rest = path.split("/")
        return self.ids.get(f"{kind}/{rest[-1]}" if rest else kind, self.ids.get(kind))

    def named(self, body: Any) -> Any:
        """A body in which ids are those of rows that exist."""
        if not isinstance(body, dict):
            return body
        known = {name: self.ids[kind] for name, kind in KINDS.items()}
        one = {name: known[name] for name in body if name in known}
        several = {name: [known[name[:-1]]] for name in body if name[:-1] in known}
        return {**body, **one, **several}


def make_world() -> World:
    """The world; the clock must stand at noon of the tests of the exchange."""
    make_groups()
    owner, stranger = who_signs_in(), make_grower("outsider")
    taxon = make_taxon()
    plant = make_plant(owner, site=make_site(owner, name="first pond"), taxon=taxon, number="12")
    season = make_season(make_plant(owner), date(2026, 6, 1), date(2026, 9, 1))
    bloom_said_set(actor=owner, plant=plant, **SUMMER)
    tokens = {"owner": caller(owner).token, "outsider": caller(stranger).token}
    caller(owner)
    spare = ApiToken.objects.filter(user=owner).latest("created_at")
    rows = {"plants": plant, "sites": plant.site, "taxa": taxon, "bloom-seasons": season, "tokens": spare}
    rows |= deals(plant, make_plant(make_grower("recipient"), taxon=taxon))
    rows |= deals_taken(plant, taxon)
    rows |= encounters(owner)
    rows["calendar-feeds"] = feed_create(actor=owner, name="balcony").feed
    rows |= lots(owner, plant)
    rows |= gatherings(owner)
    rows |= webhooks(owner)
    return World({name: str(row.public_id) for name, row in rows.items()}, tokens)


def who_signs_in() -> Grower:
    """The owner, who can sign in as the document shows it."""
    email, password = str(SIGN_IN["email"]), str(SIGN_IN["password"])
    owner = grower_create(handle="donor", email=email, password=password)
    email_confirm(grower=owner)
    return owner


def deals(owned: Plant, other: Plant) -> dict[str, Any]:
    """What the owner, a coordinator too, gives to another in the same country, who said each first yes."""
    owner, taker = owned.grower, other.grower
    coordinator_grant(handle=owner.handle)
    for grower in (owner, taker):
        address_set(actor=grower, name="A. Grower", lines=["1 Weir Road"], town="Pondville", country="FR")
    offer, wanted = make_offer(owned, doses=9), make_wanted_cross(owned)
    pairing, agreed, sent = (make_pairing(offer, make_wanted_cross(other, flowers=4)) for _ in range(3))
    agreement, gone = propose(pairing, doses=1), agree(sent)
    still = agree(agreed)
    agreement_send(actor=owner, agreement=gone)
    in_hand = make_offer_in_hand(make_plant(owner, taxon=owned.taxon), TODAY)
    return {
        "agreements": agreement,
        **{
            f"agreements/{act}": still
            for act in ("address", "address-label", "postpone", "send", "send-less", "withdraw")
        },
        "agreements/end": gone,
        "agreement-notes": note_write(actor=taker, agreement=agreement, text="Good morning."),
        "offers": offer,
        **{f"offers/{act}": in_hand for act in ("came-up-short", "keep-back")},
        "wanted-crosses": wanted,
        "pairings": pairing,
        "matching-runs": pairing.run,
        "matching-orders": matching_order(actor=owner, now=NOON),
        "notifications": Notification.objects.create(grower=owner, kind="pairing_proposed", pairing=pairing),
        "quiet-asks": quiet_ask(owned, pairing.wanted_cross),
    }


def lots(owner: Grower, plant: Plant) -> dict[str, Any]:
    """Lots of the owner's that nobody is promised doses of, packets of them and one from abroad."""
    in_hand = Lot.objects.get(offer__kind="in_hand")
    made = [lot_collect(actor=owner, plant=plant, flowers_emptied=9, collected_hour=6) for _ in range(2)]
    coming = packet_from(Grower.objects.get(handle="donor-abroad"), owner)
    return {
        "lots": made[0],
        "lots/offers": in_hand,
        "packets": packet_fill(actor=owner, lot=made[1], doses=1),
        "packets/receive": coming,
        "temperatures": make_temperature(owner, made[1]),
        "stores": store_create(actor=owner, name="attic", kind="refrigerator"),
        "carrier-services": carrier_service_create(actor=owner, name="counter", country="FR"),
        "recalls": recall_report(actor=owner, plant=plant, kind="pest", found_on=TODAY),
        **parcels(owner, Grower.objects.get(handle="recipient")),
    }


def parcels(owner: Grower, other: Grower) -> dict[str, Any]:
    """Parcels in one country: planned, under way there and back; and an agreement that waits for one."""
    planned, posted, waiting = (packed(owner, other) for _ in range(3))
    there, back = (
        shipment_dispatch(actor=deal.donor, shipment=shipment_plan(actor=deal.donor, agreement=deal))
        for deal in (posted, packed(other, owner))
    )
    return {
        "shipments": shipment_plan(actor=owner, agreement=planned),
        "shipments/receive": back,
        **{f"shipments/{act}": there for act in ("hold", "refused", "lost", "returned")},
        "shipments/agreements": waiting,
    }


def packed(donor: Grower, recipient: Grower) -> Agreement:
    """An agreement with a packet."""
    offer = make_offer(make_plant(donor))
    deal = agree(make_pairing(offer, make_wanted_cross(make_plant(recipient))), doses=1)
    lot = offer_collect(actor=donor, offer=offer, doses=1, collected_on=TODAY, store="refrigerator")
    packet_fill(actor=donor, lot=lot, doses=1, agreement=deal)
    return off_the_market(deal)


def off_the_market(deal: Agreement) -> Agreement:
    """A deal whose offer and wanted cross no dry run plans with all others of the world."""
    offer_pause(actor=deal.donor, offer=deal.offer)
    wanted_cross_pause(actor=deal.recipient, wanted_cross=deal.wanted_cross)
    return deal


def gatherings(owner: Grower) -> dict[str, Any]:
    """A gathering of the owner's, and detours of their agreements as far as the act on each needs."""
    keeper, giver, taker = (make_grower(name) for name in ("keeper", "giver", "taker"))
    address_set(actor=keeper, name="A. Keeper", lines=["2 Weir Road"], town="Pondville", country="DE")
    abroad = make_gathering(keeper)
    here = make_gathering(keeper, site=site_at(keeper, "at home", FRANCE))
    own = make_gathering(owner, site=site_at(owner, "over there", BERLIN))
    taken = [off_the_market(make_deal(giver, owner, home=GERMANY, there=FRANCE)) for _ in range(2)]
    given = [off_the_market(make_deal(owner, taker)) for _ in range(2)]
    through = off_the_market(make_deal(giver, taker))
    for deal, gathering in ((taken[0], here), (taken[1], here), (given[0], abroad), (given[1], abroad)):
        detour_ask(actor=deal.recipient, agreement=deal, gathering=gathering)
    detour_withdraw(actor=owner, agreement=taken[0])
    detour_yes(actor=owner, agreement=given[1])
    detour_accept(actor=keeper, agreement=given[1])
    detour_ask(actor=taker, agreement=through, gathering=own)
    detour_yes(actor=giver, agreement=through)
    return {
        "gatherings": own,
        "gatherings/agreements": here,
        "agreements/detour": taken[0],
        "agreements/detour-withdraw": taken[1],
        "agreements/detour-yes": given[0],
        "agreements/detour-address": given[1],
        "agreements/detour-accept": through,
        "agreements/detour-decline": through,
    }


def webhooks(owner: Grower) -> dict[str, Any]:
    """An address of the owner's that something was sent to."""
    webhook, told = make_webhook(owner), Notification.objects.filter(grower=owner).latest("pk")
    delivery = WebhookDelivery.objects.create(webhook=webhook, notification=told)
    return {"webhooks": webhook, "webhook-deliveries": delivery}


def packet_from(donor: Grower, owner: Grower) -> Packet:
    """A packet that is on its way to the owner."""
    offer = Offer.objects.get(plant__grower=donor)
    lot = offer_collect(actor=donor, offer=offer, doses=2, collected_on=TODAY, store="refrigerator")
    agreement = Agreement.objects.get(offer=offer, recipient=owner, state="agreed")
    packet = packet_fill(actor=donor, lot=lot, doses=1, agreement=agreement)
    return packet_hand_over(actor=donor, packet=packet)


def deals_taken(owned: Plant, taxon: Taxon) -> dict[str, Any]:
    """What the owner gets from abroad on the terms that the document shows, and could get."""
    donor = make_grower("donor-abroad")
    given = make_plant(donor, site=make_site(donor, **GERMANY), taxon=taxon)
    offer = make_offer(given, countries=["FR"], terms=[{"code": "tell_result"}])
    taken, free = (make_pairing(offer, make_wanted_cross(owned, flowers=2)) for _ in range(2))
    return {"agreements/statement": agree(taken, doses=1), "pairings/agreements": free}


def quiet_ask(owned: Plant, wanted: WantedCross) -> QuietAsk:
    """A question to the owner about a plant that is not on offer."""
    grower_update(actor=owned.grower, may_be_asked=True)
    other = make_plant(owned.grower, taxon=owned.taxon)
    return QuietAsk.objects.create(plant=other, wanted_cross=wanted)


def encounters(owner: Grower) -> dict[str, Any]:
    """Whom the owner blocked and could block, and a border note of another's."""
    border = border_note_propose(actor=make_grower("bystander"), **BORDER_NOTE)
    make_grower("pond by the mill", email="mill@example.org")
    blocked = block_create(actor=owner, blocked=make_grower("somebody"))
    return {"border-notes": border, "blocks": blocked}
