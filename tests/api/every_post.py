"""One POST of every operation of the description, prepared so that it succeeds.

A new operation needs a function here, named as its operationId; the tests fail without it.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from exchange.api.operation import Operation
from exchange.models import Agreement, BorderNote, Notification, QuietAsk
from exchange.services import offer, wanted_cross
from exchange.services.address import address_set
from exchange.services.agreement_note import note_write
from exchange.services.coordinator import coordinator_grant
from exchange.services.notification import pairings_tell
from growers import clock
from growers.models import Grower, Plant, Site
from tests.api.caller import PASSWORD, Answer, Caller, caller, make_member
from tests.api.test_document import generated, routes
from tests.exchange.bargain import Bargain, agree, make_bargain, propose, state_papers
from tests.exchange.quiet import look, make_owner, make_unoffered, make_wish
from tests.exchange.society import make_groups
from tests.factories import make_grower, make_offer, make_plant, make_site


@dataclass
class Stage:
    """The three growers at the society's noon, and what most operations need, made when asked for."""

    donor: Grower
    recipient: Grower
    outsider: Grower

    @cached_property
    def bargain(self) -> Bargain:
        return make_bargain(self.donor, self.recipient)

    @cached_property
    def site(self) -> Site:
        return make_site(self.donor)

    @cached_property
    def plant(self) -> Plant:
        return make_plant(self.donor, site=self.site)

    @cached_property
    def coordinator(self) -> Caller:
        return caller(coordinator_grant(handle=make_grower("weir").handle))


@dataclass
class Post:
    """Who posts what where, and another body that the same key must not be used for."""

    api: Caller
    path: str
    body: Any = None
    other: Any = None
    headers: dict[str, str] = field(default_factory=dict)

    def send(self, body: Any, **headers: str) -> Answer:
        return self.api.call("POST", self.path, body, **self.headers, **headers)

    def other_body(self) -> Any:
        """Without a body of its own an operation reads none; with the same key it is another all the same."""
        return {"doses": 1} if self.other is None else self.other


Preparation = Callable[[Stage], Post]


def operations() -> dict[str, Operation]:
    """Every POST of the description by its operationId."""
    views: list[Any] = [pattern.callback for route, pattern in routes() if route.startswith("api/v1/")]
    found: list[Operation] = [
        view.view_class.post.operation
        for view in views
        if hasattr(getattr(getattr(view, "view_class", None), "post", None), "operation")
    ]
    by_name = {operation.name: operation for operation in found}
    described = [item["post"] for item in generated()["paths"].values() if "post" in item]
    assert {each["operationId"] for each in described} == set(by_name)
    keyed = {each["operationId"] for each in described if _needs_key(each)}
    assert keyed == {name for name, operation in by_name.items() if operation.keyed}
    return by_name


def _needs_key(described: dict[str, Any]) -> bool:
    return any(each["name"] == "Idempotency-Key" for each in described.get("parameters", ()))


def prepared(name: str) -> Preparation:
    """The preparation of an operation."""
    assert name in PREPARATIONS, f"no preparation of {name} in {__name__}: add a function of this name"
    return PREPARATIONS[name]


PREPARATIONS: dict[str, Preparation] = {}


def prepares(function: Preparation) -> Preparation:
    PREPARATIONS[function.__name__.rstrip("_")] = function
    return function


# --- facts ---


@prepares
def site_create(stage: Stage) -> Post:
    body = {"name": "pond", "country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}
    return Post(caller(stage.donor), "sites", body, {**body, "name": "lake"})


@prepares
def plant_create(stage: Stage) -> Post:
    body = {"site_id": str(stage.site.public_id), "group": "hardy", "diel": "day"}
    return Post(caller(stage.donor), "plants", body, {**body, "crowns": 2})


def table(stage: Stage, path: str, rows: str, others: str, **stated: str) -> Post:
    """A form with a table as its file."""

    def form(text: str) -> bytes:
        file = SimpleUploadedFile("table.csv", text.encode(), "text/csv")
        return encode_multipart(BOUNDARY, {**stated, "file": file})

    sent_as = {"content_type": MULTIPART_CONTENT}
    return Post(caller(stage.donor), path, form(rows), form(others), headers=sent_as)


@prepares
def plant_import(stage: Stage) -> Post:
    head = "number,name_as_grown,group,diel\n"
    site = str(stage.site.public_id)
    rows = (f"{head}7,Dusk,hardy,day\n", f"{head}8,Dusk,hardy,day\n")
    return table(stage, "plants/import", *rows, site_id=site)


@prepares
def bloom_season_import(stage: Stage) -> Post:
    head = "plant,first_flower_on\n"
    number = stage.plant.number
    rows = (f"{head}{number},2026-06-08\n", f"{head}{number},2026-06-09\n")
    return table(stage, "bloom-seasons/import", *rows)


@prepares
def weather_day_import(stage: Stage) -> Post:
    rows = ("date,tmin_c\n2027-06-20,12.5\n", "date,tmin_c\n2027-06-20,13.5\n")
    return table(stage, f"sites/{stage.site.public_id}/weather-days/import", *rows)


@prepares
def bloom_season_create(stage: Stage) -> Post:
    path = f"plants/{stage.plant.public_id}/bloom-seasons"
    body = {"first_flower_on": "2026-06-08"}
    return Post(caller(stage.donor), path, body, {"first_flower_on": "2026-06-09"})


@prepares
def bloom_sighting_create(stage: Stage) -> Post:
    path = f"plants/{stage.plant.public_id}/bloom-sightings"
    body = {"seen_on": "2027-06-01", "kind": "bud", "bud_stage": "at the surface"}
    return Post(caller(stage.donor), path, body, {**body, "seen_on": "2027-06-02"})


@prepares
def usual_bloom_set(stage: Stage) -> Post:
    path = f"plants/{stage.plant.public_id}/usual-bloom"
    body = {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15}
    return Post(caller(stage.donor), path, body)


@prepares
def weather_day_create(stage: Stage) -> Post:
    path = f"sites/{stage.site.public_id}/weather-days"
    body = {"measured_on": "2027-06-20", "minimum_c": 12.5, "maximum_c": 27.0}
    return Post(caller(stage.donor), path, body, {**body, "maximum_c": 28.0})


@prepares
def token_create(stage: Stage) -> Post:
    cache.clear()
    make_member()
    body = {"email": "member@example.org", "password": PASSWORD, "name": "laptop"}
    return Post(Caller(), "tokens", body, {**body, "name": "phone"})


@prepares
def try_out(stage: Stage) -> Post:
    make_groups()
    cache.clear()
    bloom = {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15}
    one = {"group": "hardy", "country": "FR", "zone": "Europe/Paris", "usual_bloom": bloom}
    other = {"group": "hardy", "country": "DE", "latitude_deg": 48.1, "longitude_deg": 11.6}
    body = {"donor": one, "recipient": {**other, "usual_bloom": bloom}, "treatment": "dried", "flowers": 4}
    return Post(Caller(), "try-out", body)


@prepares
def germination_count_reckon(stage: Stage) -> Post:
    way = {"method": "in_vitro", "medium": "5 % sucrose", "rule": "tube as long as the grain is wide"}
    counts = {"replicates": [{"germinated": 28, "counted": 100}], "treatment": "fresh", "rehydrated": None}
    return Post(caller(stage.donor), "germination-counts", {**counts, **way})


# --- offers, wanted crosses, pairings ---


def own_offer(stage: Stage, action: str) -> str:
    return f"offers/{stage.bargain.offer.public_id}/{action}"


@prepares
def offer_create(stage: Stage) -> Post:
    body = {"plant_id": str(stage.plant.public_id), "kind": "on_request", "treatment": "dried", "doses": 4}
    return Post(caller(stage.donor), "offers", body, {**body, "doses": 3})


@prepares
def offer_collect(stage: Stage) -> Post:
    agree(stage.bargain.pairing)
    body = {"doses": 3, "collected_on": "2027-06-28", "store": "refrigerator"}
    return Post(caller(stage.donor), own_offer(stage, "collect"), body, {**body, "doses": 2})


@prepares
def offer_came_up_short(stage: Stage) -> Post:
    agree(stage.bargain.pairing)
    return Post(caller(stage.donor), own_offer(stage, "came-up-short"), {"doses": 1}, {"doses": 0})


@prepares
def offer_keep_back(stage: Stage) -> Post:
    return Post(caller(stage.donor), own_offer(stage, "keep-back"), {"doses": 1})


@prepares
def offer_pause(stage: Stage) -> Post:
    return Post(caller(stage.donor), own_offer(stage, "pause"))


@prepares
def offer_reopen(stage: Stage) -> Post:
    offer.offer_pause(actor=stage.donor, offer=stage.bargain.offer)
    return Post(caller(stage.donor), own_offer(stage, "reopen"))


@prepares
def offer_close(stage: Stage) -> Post:
    return Post(caller(stage.donor), own_offer(stage, "close"))


@prepares
def offer_still_true(stage: Stage) -> Post:
    return Post(caller(stage.donor), own_offer(stage, "still-true"))


@prepares
def offer_pause_all(stage: Stage) -> Post:
    make_offer(stage.plant)
    return Post(caller(stage.donor), "offers/pause-all")


def own_wanted_cross(stage: Stage, action: str) -> str:
    return f"wanted-crosses/{stage.bargain.pairing.wanted_cross.public_id}/{action}"


@prepares
def wanted_cross_create(stage: Stage) -> Post:
    body = {"seed_parent_id": str(stage.plant.public_id), "pollen_groups": ["hardy"], "flowers": 4}
    return Post(caller(stage.donor), "wanted-crosses", body, {**body, "flowers": 3})


@prepares
def wanted_cross_pause(stage: Stage) -> Post:
    return Post(caller(stage.recipient), own_wanted_cross(stage, "pause"))


@prepares
def wanted_cross_reopen(stage: Stage) -> Post:
    row = stage.bargain.pairing.wanted_cross
    wanted_cross.wanted_cross_pause(actor=stage.recipient, wanted_cross=row)
    return Post(caller(stage.recipient), own_wanted_cross(stage, "reopen"))


@prepares
def wanted_cross_close(stage: Stage) -> Post:
    return Post(caller(stage.recipient), own_wanted_cross(stage, "close"))


@prepares
def pairing_dismiss(stage: Stage) -> Post:
    return Post(caller(stage.recipient), f"pairings/{stage.bargain.pairing.public_id}/dismiss")


@prepares
def pairing_seen(stage: Stage) -> Post:
    return Post(caller(stage.recipient), f"pairings/{stage.bargain.pairing.public_id}/seen")


@prepares
def matching_run_start(stage: Stage) -> Post:
    return Post(stage.coordinator, "matching-runs", {"rule": "most capsules"})


@prepares
def matching_run_try(stage: Stage) -> Post:
    return Post(stage.coordinator, "matching-runs/dry-run", {"rule": "most capsules"})


def told(stage: Stage) -> Notification:
    pairings_tell(fresh=[stage.bargain.pairing], gone=[])
    return Notification.objects.get(grower=stage.donor)


@prepares
def notification_mark_read(stage: Stage) -> Post:
    return Post(caller(stage.donor), f"notifications/{told(stage).public_id}/read")


@prepares
def notification_mark_all_read(stage: Stage) -> Post:
    told(stage)
    return Post(caller(stage.donor), "notifications/read")


@prepares
def quiet_ask_answer(stage: Stage) -> Post:
    make_groups()
    make_unoffered(make_owner(stage.donor))
    make_wish(stage.recipient)
    look(clock.now())
    path = f"quiet-asks/{QuietAsk.objects.get().public_id}/answer"
    yes = {"answer": "yes", "treatment": "dried", "doses": 3}
    return Post(caller(stage.donor), path, yes, {"answer": "never"})


# --- agreements ---


def of(agreement: Agreement, action: str) -> str:
    return f"agreements/{agreement.public_id}/{action}"


@prepares
def agreement_create(stage: Stage) -> Post:
    body = {"pairing_id": str(stage.bargain.pairing.public_id), "doses": 2, "terms": []}
    return Post(caller(stage.recipient), "agreements", body, {**body, "doses": 1})


@prepares
def agreement_accept(stage: Stage) -> Post:
    path = of(propose(stage.bargain.pairing), "accept")
    return Post(caller(stage.donor), path, {"post_from": "home"}, {"post_from": "club"})


@prepares
def agreement_decline(stage: Stage) -> Post:
    path = of(propose(stage.bargain.pairing), "decline")
    return Post(caller(stage.donor), path, {"reason": "not_in_bloom"}, {"reason": "other"})


@prepares
def agreement_withdraw(stage: Stage) -> Post:
    return Post(caller(stage.recipient), of(agree(stage.bargain.pairing), "withdraw"))


@prepares
def agreement_postpone(stage: Stage) -> Post:
    return Post(caller(stage.donor), of(agree(stage.bargain.pairing), "postpone"))


@prepares
def agreement_send_less(stage: Stage) -> Post:
    path = of(agree(stage.bargain.pairing, doses=3), "send-less")
    return Post(caller(stage.donor), path, {"doses": 2}, {"doses": 1})


@prepares
def agreement_statement(stage: Stage) -> Post:
    asked = {"asked_whom": "the plant-health office", "asked_on": "2027-07-01"}
    path = of(agree(stage.bargain.pairing), "statement")
    body = {"papers": "not_needed", **asked}
    return Post(caller(stage.recipient), path, body, {"papers": "in_hand", **asked})


@prepares
def agreement_send(stage: Stage) -> Post:
    agreement = agree(stage.bargain.pairing)
    state_papers(agreement)
    return Post(caller(stage.donor), of(agreement, "send"))


@prepares
def agreement_end(stage: Stage) -> Post:
    sent = agreement_send(stage)
    assert sent.api.post(sent.path).status == 200
    return Post(caller(stage.recipient), sent.path.replace("/send", "/end"))


@prepares
def agreement_address_read(stage: Stage) -> Post:
    lines = {"name": "A. Grower", "lines": ["1 Mill Lane"], "town": "Pondville", "country": "DE"}
    address_set(actor=stage.recipient, **lines)  # type: ignore[arg-type]
    return Post(caller(stage.donor), of(agree(stage.bargain.pairing), "address"))


@prepares
def agreement_note_create(stage: Stage) -> Post:
    path = of(agree(stage.bargain.pairing), "notes")
    return Post(caller(stage.donor), path, {"text": "It opens at eight."}, {"text": "It opens at nine."})


@prepares
def agreement_note_report(stage: Stage) -> Post:
    agreement = agree(stage.bargain.pairing)
    note = note_write(actor=stage.donor, agreement=agreement, text="Hurry!")
    path = f"agreement-notes/{note.public_id}/report"
    return Post(caller(stage.recipient), path, {"reason": "a threat"})


# --- who does not want to meet whom, and what borders ask ---


@prepares
def block_create(stage: Stage) -> Post:
    agreement = agree(stage.bargain.pairing)
    body = {"agreement_id": str(agreement.public_id)}
    return Post(caller(stage.donor), "blocks", body, {"handle": stage.outsider.handle})


@prepares
def border_note_create(stage: Stage) -> Post:
    body = {
        "kind": "conditions",
        "origin": "FR",
        "destination": "DE",
        "text": "a plant passport is asked for",
        "source": "a letter of 12 June",
        "asked_whom": "the plant-health office",
        "checked_on": "2027-06-12",
    }
    return Post(caller(stage.donor), "border-notes", body, {**body, "kind": "forbidden"})


def proposed_note(stage: Stage, action: str) -> str:
    post = border_note_create(stage)
    assert post.api.post(post.path, post.body).status == 201
    return f"border-notes/{BorderNote.objects.get().public_id}/{action}"


@prepares
def border_note_confirm(stage: Stage) -> Post:
    return Post(stage.coordinator, proposed_note(stage, "confirm"))


@prepares
def border_note_refuse(stage: Stage) -> Post:
    return Post(stage.coordinator, proposed_note(stage, "refuse"))
