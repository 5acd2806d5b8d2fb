"""A deal told request by request through HTTP, from the first yes to the parcel, and the end of the work."""

import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.apps import apps
from django.db.models import Q

from exchange.models import DueTask, Lease, Pairing
from exchange.services.rescoring import KIND, rescore
from growers import clock as project_clock
from growers.models import Change
from growers.models.base import PublicModel
from tests.api.caller import ROOT, caller
from tests.append_only import unguarded
from tests.exchange.society import NOON, make_society
from tests.factories import make_grower
from tests.served.client import Got, Sent, send
from tests.served.process import wait_until

ASKED = {"asked_whom": "the plant-health office", "asked_on": "2027-07-01"}
DONORS = {
    "botanical_name": "Nymphaea hybrid",
    "origin": "cultivated",
    "free_of_soil_water_insects": True,
    "rights": "not_known",
}
Sender = Callable[[Sent], Got]


@dataclass
class Tale:
    """Two growers with a pairing that a run has found, and their clients."""

    address: str
    donor: str = field(init=False)
    recipient: str = field(init=False)
    pairing: str = field(init=False)

    def __post_init__(self) -> None:
        donor, recipient = make_grower("donor"), make_grower("recipient")
        make_society(donor, recipient)
        ids_alike()
        rescore(now=project_clock.now())
        ids_alike()
        self.donor, self.recipient = caller(donor).token, caller(recipient).token
        self.pairing = str(Pairing.objects.get().public_id)

    def tell(self, sender: Sender) -> list[int]:
        """All requests one after the other; the status of each."""
        got = [sender(self.post(self.recipient, "agreements", {"pairing_id": self.pairing, "doses": 2}))]
        of = f"agreements/{got[0].body['id']}"
        steps: list[tuple[str, str, Any]] = [
            (self.donor, f"{of}/accept", {"post_from": "home"}),
            (self.recipient, f"{of}/statement", {"papers": "not_needed", **ASKED}),
            (self.donor, f"{of}/statement", DONORS),
            (self.donor, f"{of}/send", None),
        ]
        got += [sender(self.post(*step)) for step in steps]
        got.append(sender(Sent(self.address, f"{ROOT}/{of}", self.recipient, method="GET")))
        return [each.status for each in got]

    def post(self, token: str, path: str, body: Any) -> Sent:
        return Sent(self.address, f"{ROOT}/{path}", token, str(uuid.uuid4()), body)


def ids_alike() -> None:
    """Give every row the public id of its table and rank: draws are seeded by these."""
    with unguarded():
        for model in apps.get_models():
            if issubclass(model, PublicModel):
                for rank, row in enumerate(model._default_manager.order_by("pk")):
                    row.public_id = uuid.uuid5(uuid.NAMESPACE_OID, f"{model._meta.db_table} {rank}")
                    row.save(update_fields=["public_id"])


STATUSES = [201, 200, 200, 200, 200, 200]


def plainly(sent: Sent) -> Got:
    """Without any disturbance."""
    return send(sent)


@contextmanager
def nothing_reckoned() -> Iterator[None]:
    """Matching waits until the block ends, as if another worker were at it, and then makes one run of all."""
    Lease.objects.update_or_create(
        name=KIND, defaults={"holder": uuid.uuid4(), "held_until": NOON + timedelta(days=1)}
    )
    yield
    Lease.objects.update(holder=None, held_until=None)


def all_done() -> bool:
    """Nothing is left that a worker could do now."""
    due = DueTask.objects.filter(due_at__lte=project_clock.now())
    held = Lease.objects.filter(~Q(holder=None))
    return not (Change.objects.exists() or due.exists() or held.exists())


def wait_until_all_is_done() -> None:
    wait_until(all_done, "the end of the work")
