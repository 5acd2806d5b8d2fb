"""One grower's world with as many rows of each kind as asked for: written in bulk, past the services."""

from datetime import timedelta
from typing import Any

from django.db import connection

from exchange.models import ApiToken, MatchingOrder, Notification, Offer, Pairing, WantedCross
from exchange.services.calendar_feed import feed_create
from exchange.services.coordinator import coordinator_grant
from growers.models import BloomSighting, Grower, Plant, Taxon, WeatherDay
from growers.services.bloom import bloom_said_set
from tests.api.bulk import copies
from tests.api.caller import caller
from tests.api.many_deal import ManyDeals
from tests.api.many_lot import ManyLots
from tests.api.many_webhook import ManyWebhooks
from tests.exchange.society import SUMMER, TODAY, make_pairing, make_run, make_society
from tests.factories import make_offer_in_hand, make_season, make_wanted_cross


class Many:
    """The world of a donor who wants crosses and is a coordinator too, and that of another like them."""

    def __init__(self, donor: Grower, recipient: Grower) -> None:
        society = make_society(donor, recipient)
        coordinator_grant(handle=donor.handle)
        self.api, self.grower, self.size, self.codes = caller(donor), donor, 0, 0
        self.token = ApiToken.objects.get(user=donor)
        self.feed = feed_create(actor=donor, name="telephone").feed
        self.taxon = Taxon.objects.get(name="hardy")
        self.given, self.seed = society.given, society.seed
        self.offers = (society.offer, make_offer_in_hand(self.seed, TODAY, countries=["FR"]))
        own = make_wanted_cross(self.given, flowers=4, pollen_plants=[self.given], pollen_taxa=[self.taxon])
        self.wanted = (society.wanted, own)
        self.run = make_run()
        self.order = MatchingOrder.objects.create(
            ordered_by=donor, state="done", rule=self.run.rule, run=self.run
        )
        self.pairing = make_pairing(self.offers[1], self.wanted[1])
        new = Notification.Kind.PROPOSED
        self.told = Notification.objects.create(grower=donor, kind=new, pairing=self.pairing)
        bloom_said_set(actor=donor, plant=self.given, **SUMMER)
        self.season = make_season(self.given, TODAY - timedelta(days=1))
        given = make_pairing(self.offers[0], self.wanted[0])
        self.deal = ManyDeals(donor, recipient, self.pairing, given)
        self.lots = ManyLots(donor, self.given)
        self.webhooks = ManyWebhooks(donor)

    @property
    def rows(self) -> dict[str, Any]:
        """The row that is read, by where its kind stands in addresses."""
        return {
            "tokens": self.token,
            "calendar-feeds": self.feed,
            "sites": self.given.site,
            "taxa": self.taxon,
            "plants": self.given,
            "bloom-seasons": self.season,
            "offers": self.offers[0],
            "wanted-crosses": self.wanted[1],
            "pairings": self.pairing,
            "matching-orders": self.order,
            "matching-runs": self.run,
            "notifications": self.told,
            **self.deal.rows,
            **self.lots.rows,
            **self.webhooks.rows,
        }

    def grow(self, size: int) -> None:
        """Let it have so many rows of each kind, or a few more."""
        new = range(self.size, size)
        self.size = size
        self._facts(new)
        here, there = self._plants(self.given, new), self._plants(self.seed, new)
        given = self._pairings(self._offers(self.offers[0], here), self._wanted(self.wanted[0], there))
        taken = self._pairings(self._offers(self.offers[1], there), self._wanted(self.wanted[1], here))
        self.deal.grow(given, taken, new)
        self.lots.grow(new)
        self.webhooks.grow(new)
        with connection.cursor() as cursor:
            # A database that believes its tables empty joins them row by row.
            cursor.execute("ANALYZE")

    def _facts(self, new: range) -> None:
        plant, site = self.given, self.given.site
        copies(self.run, new)
        copies(self.token, new, digest="{:0128d}".format, token_key="another")
        copies(self.feed, new, digest="another {}".format, name="another {}".format)
        copies(self.taxon, new, name="another {}".format, rank=Taxon.Rank.CULTIVAR)
        copies(site, new, name="another {}".format)
        copies(WeatherDay(site=site, mean_c=20.0), new, measured_on=_day)
        copies(self.season, new, first_flower_on=_day)
        counted = BloomSighting.Kind.FIRST_DAY_FLOWERS
        copies(BloomSighting(plant=plant, kind=counted, flower_count=1), new, seen_on=_day)

    def _plants(self, like: Plant, new: range) -> list[Plant]:
        """Plants with a taxon and parents."""
        family = {"taxon_id": self.taxon.pk, "seed_parent_id": like.pk, "pollen_parent_id": like.pk}
        return copies(like, new, number="another {}".format, **family)

    def _offers(self, like: Offer, plants: list[Plant]) -> list[Offer]:
        """An offer of each plant, with a lot."""
        keys = [plant.pk for plant in plants]
        offers = copies(like, range(len(keys)), plant_id=keys.__getitem__)
        (lot,) = like.lots.all()
        own = [offer.pk for offer in offers]
        lots = copies(
            lot, range(len(own)), plant_id=keys.__getitem__, offer_id=own.__getitem__, code=self._code
        )
        copies(lot.supply, range(len(lots)), lot_id=[each.pk for each in lots].__getitem__)
        return offers

    def _code(self, number: int) -> str:
        """Of a lot that is a copy; each once."""
        self.codes += 1
        return f"{self.codes:08d}"

    def _wanted(self, like: WantedCross, seed_parents: list[Plant]) -> list[WantedCross]:
        """A wanted cross for each plant, of a plant and a taxon."""
        keys = [plant.pk for plant in seed_parents]
        wanted = copies(like, range(len(keys)), seed_parent_id=keys.__getitem__)
        plants, taxa = WantedCross.pollen_plants.through, WantedCross.pollen_taxa.through
        plants.objects.bulk_create(plants(wantedcross=each, plant=self.given) for each in wanted)
        taxa.objects.bulk_create(taxa(wantedcross=each, taxon=self.taxon) for each in wanted)
        return wanted

    def _pairings(self, offers: list[Offer], wanted: list[WantedCross]) -> list[Pairing]:
        """A pairing of each offer with a wanted cross, told to the grower."""
        sides = {"offer_id": [each.pk for each in offers], "wanted_cross_id": [each.pk for each in wanted]}
        columns = {name: found.__getitem__ for name, found in sides.items()}
        pairings = copies(self.pairing, range(len(offers)), **columns)
        told = Notification(grower=self.grower, kind=Notification.Kind.PROPOSED)
        keys = [pairing.pk for pairing in pairings]
        copies(told, range(len(pairings)), pairing_id=keys.__getitem__)
        return pairings


def _day(number: int) -> Any:
    return TODAY - timedelta(days=number + 2)
