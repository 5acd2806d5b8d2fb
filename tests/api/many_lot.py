"""Lots of one grower, with as many of all that belongs to one as asked for."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from exchange.models import CustodyEvent, LotOutlook, Notification, RecallNotice
from exchange.services.assay import Counts, assay_record
from exchange.services.carrier_service import carrier_service_create
from exchange.services.lot import lot_collect
from exchange.services.packet import packet_fill
from exchange.services.recall import recall_report
from exchange.services.store import store_create
from growers.models import Grower, Plant
from tests.api.bulk import copies
from tests.exchange.logger import make_temperature
from tests.exchange.society import TODAY


class ManyLots:
    """A lot with a test, temperatures and a packet, a store, a recall."""

    def __init__(self, grower: Grower, plant: Plant) -> None:
        self.grower = grower
        self.store = store_create(actor=grower, name="attic", kind="refrigerator")
        self.service = carrier_service_create(actor=grower, name="counter", country="FR")
        self.lot = lot_collect(actor=grower, plant=plant, store=self.store, flowers_emptied=9, doses=99)
        counts = Counts("in_vitro", "5 % sucrose", "tube", [(30, 100)], rehydrated=True)
        self.assay = assay_record(actor=grower, lot=self.lot, counts=counts)
        self.temperature = make_temperature(grower, self.lot)
        self.packet = packet_fill(actor=grower, lot=self.lot, doses=1)
        self.recall = recall_report(actor=grower, plant=plant, kind="pest", found_on=TODAY)

    @property
    def rows(self) -> dict[str, Any]:
        """The row that is read, by where its kind stands in addresses."""
        return {
            "lots": self.lot,
            "packets": self.packet,
            "stores": self.store,
            "carrier-services": self.service,
            "recalls": self.recall,
            "temperatures": self.temperature,
        }

    def grow(self, new: Sequence[int]) -> None:
        """So many of each; the lot that is read gets events, but no more tests: its curve reads them all."""
        copies(self.store, new, name="attic {}".format)
        copies(self.service, new, name="counter {}".format)
        self._lots(new)
        copies(self.temperature, new, file_digest="{:064x}".format)
        event = CustodyEvent.objects.filter(lot=self.lot).order_by("pk")[0]
        events = copies(event, new)
        told = Notification(grower=self.grower, kind=Notification.Kind.LOT)
        copies(told, range(len(events)), custody_event_id=[each.pk for each in events].__getitem__)
        recalls = copies(self.recall, new, text="once more {}".format, kind="virus", found_on=self._day)
        keys = [each.pk for each in recalls]
        copies(RecallNotice(grower=self.grower), range(len(keys)), recall_id=keys.__getitem__)

    def _lots(self, new: Sequence[int]) -> None:
        lots = copies(self.lot, new, code="A{:07d}".format)
        keys = [each.pk for each in lots]
        numbers = range(len(keys))
        outlook = LotOutlook.objects.get(lot=self.lot, packet=None)
        copies(outlook, numbers, lot_id=keys.__getitem__)
        copies(self.lot.supply, numbers, lot_id=keys.__getitem__)
        packets = copies(self.packet, numbers, lot_id=keys.__getitem__)
        of_packet = LotOutlook.objects.get(packet=self.packet)
        copies(
            of_packet,
            numbers,
            lot_id=keys.__getitem__,
            packet_id=[each.pk for each in packets].__getitem__,
        )

    def _day(self, number: int) -> Any:
        return TODAY - timedelta(days=number + 2)
