"""One parcel of pollen from the offer to the test on arrival, told through HTTP and mail alone.

Wednesday 30 June to Wednesday 7 July 2027, from Paris to Lisbon, where it is an hour earlier. The server does
what is due by itself; ``swept`` waits until it has looked twice since the clock was moved.
"""

import email
import email.policy
import re
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from tests.api.web_client import WebClient
from tests.clock import MovableClock
from tests.exchange.logger import FIELDS, log_of, steady
from tests.served.process import wait_until

PASSWORD = "the first heron of spring"
PARIS = {"country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}
LISBON = {"country": "PT", "latitude_deg": 38.75, "longitude_deg": -9.25}
ZONES = {"donor": "Europe/Paris", "recipient": "Europe/Lisbon", "outsider": "Europe/Paris"}
OFFER = {"kind": "on_request", "treatment": "dried", "doses": 4, "countries": ["PT"]}
ASKED = {"asked_whom": "the plant-health office", "asked_on": "2027-06-29"}
ADDRESS = {"name": "R.", "lines": ["7 Sluice Row"], "postal_code": "1000", "town": "Lisboa", "country": "PT"}
DONORS = {
    "botanical_name": "Nymphaea hybrid",
    "origin": "cultivated",
    "free_of_soil_water_insects": True,
    "rights": "not_known",
}
TEST = {"method": "in_vitro", "medium": "sugar 10 %", "rule": "tube as long as the grain", "rehydrated": True}
DISPATCHED = datetime(2027, 7, 1, 8, tzinfo=UTC)
BETWEEN_MAILS = b"\n" + b"-" * 79 + b"\n"
ARRIVED = datetime(2027, 7, 7, 10, tzinfo=UTC)


@dataclass
class Person:
    """One grower with a program of their own."""

    server: str
    handle: str
    token: str = ""

    @property
    def email(self) -> str:
        return f"{self.handle}@example.org"

    def ask(self, path: str) -> Any:
        return self._call("GET", path)

    def post(self, path: str, body: Any = None) -> Any:
        return self._call("POST", path, body, idempotency_key=str(uuid.uuid4()))

    def change(self, path: str, body: Any) -> Any:
        return self._call("PATCH", path, body, if_match="*")

    def upload(self, path: str, **form: Any) -> Any:
        """Send a form with a file in it."""
        content = encode_multipart(BOUNDARY, form)
        headers = {"content_type": MULTIPART_CONTENT, "idempotency_key": str(uuid.uuid4())}
        told = {"authorization": f"Bearer {self.token}", **headers}
        reply = WebClient(self.server).call("POST", f"/api/v1/{path}", content, **told)
        assert reply.status < 300, (path, reply.body)
        return reply.data

    def _call(self, method: str, path: str, body: Any = None, **headers: str) -> Any:
        told = {"authorization": f"Bearer {self.token}", **headers} if self.token else headers
        reply = WebClient(self.server).send(method, path, body, **told)
        assert reply.status < 300, (method, path, reply.body)
        return reply.data


@dataclass
class LongStory:
    """The growers' dealings, and what they were written."""

    server: str
    clock: MovableClock
    mails: Path
    swept: Callable[[], None]
    donor: Person = field(init=False)
    recipient: Person = field(init=False)
    outsider: Person = field(init=False)

    def tell(self) -> None:
        """All of it; each part asserts what its growers read."""
        self.at("06-30 08:00")
        self.meet()
        self.agree()
        self.collect_and_test()
        self.wait_for_the_bud()
        self.be_warned_of_friday()
        self.dispatch_on_thursday()
        self.arrive()
        self.have_been_told_once()

    def at(self, when: str) -> None:
        """Put the clock to an instant of 2027, in UTC, and let the server do what is due."""
        self.clock.set(datetime.strptime(f"2027-{when}", "%Y-%m-%d %H:%M").replace(tzinfo=UTC))
        self.swept()

    # --- who they are, and how they find each other ---

    def meet(self) -> None:
        self.donor, self.recipient, self.outsider = (
            self.sign_up(*each)
            for each in (
                ("donor", "Europe/Paris"),
                ("recipient", "Europe/Lisbon"),
                ("outsider", "Europe/Paris"),
            )
        )
        ferry, mill = self.plant(self.donor, "'Ferry'", PARIS), self.plant(self.recipient, "'Mill'", LISBON)
        offer = {
            "plant_id": ferry,
            "kind": "on_request",
            "treatment": "dried",
            "doses": 4,
            "countries": ["PT"],
        }
        self.offer, self.seed_parent = self.donor.post("offers", offer)["id"], mill
        wanted = {"seed_parent_id": mill, "pollen_groups": ["hardy"], "flowers": 4}
        self.recipient.post("wanted-crosses", wanted)
        wait_until(lambda: self.recipient.ask("pairings")["results"], "a pairing")
        self.pairing = self.donor.ask("pairings")["results"][0]["id"]
        assert self.outsider.ask("pairings")["results"] == []

    def sign_up(self, handle: str, zone: str) -> Person:
        """An account through the pages, its address confirmed by the link in the mail; a token."""
        person, visitor = Person(self.server, handle), WebClient(self.server)
        visitor.fill("/account/signup/", email=person.email, password1=PASSWORD, handle=handle)
        link = re.search(r"(/account/confirm-email/\S+)", self.written(person)[-1][1])
        assert link is not None
        visitor.fill(link[1])
        stated = {"email": person.email, "password": PASSWORD, "name": "pond", "scopes": ["read", "write"]}
        person.token = person.post("tokens", stated)["secret"]
        person.change("me", {"zone": zone, "quiet_from": "22:00", "quiet_until": "07:00"})
        return person

    def plant(self, person: Person, name: str, where: dict[str, Any]) -> str:
        site = person.post("sites", {"name": "pond", **where})["id"]
        stated = {"site_id": site, "name_as_grown": name, "group": "hardy", "diel": "day"}
        return str(person.post("plants", stated)["id"])

    def agree(self) -> None:
        """Both yeses, papers, an address."""
        deal = self.recipient.post("agreements", {"pairing_id": self.pairing, "doses": 2})
        self.deal = f"agreements/{deal['id']}"
        self.donor.post(f"{self.deal}/accept", {"post_from": "home"})
        self.recipient.post(f"{self.deal}/statement", {"papers": "not_needed", **ASKED})
        self.donor.post(f"{self.deal}/statement", DONORS)
        self.recipient.change("me/address", {**ADDRESS, "password": PASSWORD})

    # --- the lot ---

    def collect_and_test(self) -> None:
        """Four doses; a counted test narrows what is known of them."""
        collected = {"doses": 4, "collected_on": "2027-06-30", "store": "refrigerator"}
        self.donor.post(f"offers/{self.offer}/collect", collected)
        (lot,) = self.donor.ask("lots")["results"]
        self.lot = f"lots/{lot['id']}"
        before = self.band(self.donor)
        self.donor.post(f"{self.lot}/tests", {**TEST, "replicates": [{"germinated": 60, "counted": 200}]})
        after = self.band(self.donor)
        assert after[1] - after[0] < before[1] - before[0]
        assert after[0] < 0.3 < after[1]
        packet = {"doses": 2, "agreement_id": self.deal.split("/")[1]}
        self.packet = self.donor.post(f"{self.lot}/packets", packet)["id"]
        self.shipment = (
            "shipments/" + self.donor.post("shipments", {"agreement_id": packet["agreement_id"]})["id"]
        )
        assert self.donor.post(f"{self.shipment}/pack")["state"] == "packed"

    def band(self, person: Person, **query: str) -> tuple[float, float]:
        """Low and high of the share that germinates now."""
        asked = "&".join(f"{name}={value}" for name, value in query.items())
        found = person.ask(f"{self.lot}/viability?{asked}")["viability"]
        return found["low"], found["high"]

    def wait_for_the_bud(self) -> None:
        """The donor is told at once; the dates become days."""
        bud = {"seen_on": "2027-06-30", "kind": "bud", "bud_stage": "at the surface"}
        self.recipient.post(f"plants/{self.seed_parent}/bloom-sightings", bud)
        wait_until(lambda: self.subjects(self.donor), "the bud call")
        assert self.subjects(self.donor) == ["To post soon: pollen of 'Ferry'"]
        assert "sees a bud at the surface: post 'Ferry' on 2027-07-01" in self.written(self.donor)[-1][1]
        wait_until(lambda: self.dates()["precision"] == "clock", "days instead of weeks")

    def dates(self) -> Any:
        (standing,) = self.donor.ask("pairings?state=suggested")["results"]
        return self.donor.ask(f"pairings/{standing['id']}")["dates"]

    # --- the parcel ---

    def be_warned_of_friday(self) -> None:
        """Friday is too late for the weekend: each is told at 17:00 on their own clock, and not before."""
        assert (self.dates()["post_on"], self.dates()["not_later_than"]) == ("2027-06-30", "2027-07-01")
        plan = self.donor.ask(self.shipment)["plan"]
        assert (plan["not_later_than"], plan["hand_over_until"]) == ("2027-07-01", "2027-07-01T22:00:00Z")
        self.at("06-30 14:58")
        assert len(self.subjects(self.donor)) == 1
        self.at("06-30 15:00")
        last_day = "Tomorrow, Thursday 1 July\n- Post not later than this day: pollen of 'Ferry'. 2 doses."
        self.has_read(self.donor, last_day)
        assert (len(self.subjects(self.donor)), self.subjects(self.recipient)) == (2, [])
        self.at("06-30 15:58")
        assert self.subjects(self.recipient) == []
        self.at("06-30 16:00")
        self.has_read(self.recipient, "donor has collected 'Ferry'")
        assert self.subjects(self.recipient) == ["What has happened until 30 June"]

    def dispatch_on_thursday(self) -> None:
        """With the address read in a call of its own; the recipient reads of it in the evening."""
        self.at("07-01 08:00")
        assert self.donor.post(f"{self.deal}/address")["lines"] == ADDRESS["lines"]
        sent = self.donor.post(f"{self.shipment}/dispatch", {"occurred_at": DISPATCHED.isoformat()})
        assert (sent["state"], sent["lost_chance"]) == ("dispatched", 0.01)
        self.half_on = sent["half_on"]
        self.at("07-01 16:00")
        self.has_read(self.recipient, "donor has posted 'Ferry'")
        assert len(self.subjects(self.recipient)) == 2

    def arrive(self) -> None:
        """The logger's file, the parcel, a test of what came; the lane has learned."""
        self.clock.set(ARRIVED)
        hours = (ARRIVED - DISPATCHED) / timedelta(hours=1)
        content = log_of(steady(6.0), first=DISPATCHED, hours=hours, minutes=30)
        logger = SimpleUploadedFile("logger.csv", content, "text/csv")
        self.recipient.upload(f"{self.lot}/temperatures", packet_id=self.packet, file=logger, **FIELDS)
        store = self.recipient.post("stores", {"name": "kitchen", "kind": "refrigerator"})["id"]
        received = {"store_id": store, "condition": "intact"}
        parcel = self.recipient.post(f"{self.shipment}/receive", received)
        assert (parcel["state"], parcel["business_days"]) == ("received", 2), parcel
        assert parcel["lost_chance"] < 0.01
        before = self.band(self.recipient, packet=self.packet)
        count = {"replicates": [{"germinated": 40, "counted": 200}], "packet_id": self.packet}
        self.recipient.post(f"{self.lot}/tests", {**TEST, **count})
        after = self.band(self.recipient, packet=self.packet)
        assert after[1] - after[0] < before[1] - before[0]
        self.at("07-07 15:00")
        self.has_read(self.donor, "recipient has received 'Ferry'")

    # --- what they were told ---

    def have_been_told_once(self) -> None:
        """Every event once in the list, and once by mail; to nobody else."""
        for person in (self.donor, self.recipient):
            told = self.events(person)
            assert len(set(told)) == len(told)
            bodies = "".join(body for _, body in self.written(person))
            for sentence in ("said yes", "has collected", "has posted", "has come"):
                assert bodies.count(sentence) <= 1, (sentence, bodies)
        assert self.subjects(self.outsider) == []
        assert ("agreement_event", "received") in self.events(self.donor)
        assert "What has happened until 7 July" in self.subjects(self.donor)

    def events(self, person: Person) -> list[tuple[str, str]]:
        """Kind of each notification but those of pairings, which may change often."""
        rows = person.ask("notifications?limit=100")["results"]
        return [(row["code"], row["parameters"]["event"]) for row in rows if "event" in row["parameters"]]

    def written(self, person: Person) -> list[tuple[str, str]]:
        """Subject and text of each mail to somebody, the oldest first.

        Two that are written within a second may share a file: Django names it by time and memory address.
        """
        found = []
        for path in sorted(self.mails.glob("*.log"), key=lambda path: path.stat().st_mtime_ns):
            for one in path.read_bytes().split(BETWEEN_MAILS):
                message = email.message_from_bytes(one, policy=email.policy.default)
                if message["To"] == person.email:
                    found.append((str(message["Subject"]), message.get_content()))
        return found

    def has_read(self, person: Person, text: str) -> None:
        """It stands in the last mail to somebody; all of their mails are shown if it does not."""
        written = self.written(person)
        assert text in written[-1][1], (text, written)

    def subjects(self, person: Person) -> list[str]:
        """Of all mails but the one that confirms the address."""
        return [subject for subject, _ in self.written(person)[1:]]
