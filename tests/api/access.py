"""The access matrix: for every operation of the document, what each viewer is answered.

A new operation needs one row here, and ``ACCESS_KEYS=write .venv/bin/pytest
tests/api/test_access_matrix.py`` for the list of the keys that each viewer reads, to be read by you too.
"""

from dataclasses import dataclass
from typing import Any

from tests.api.access_member import VIEWERS


@dataclass(frozen=True)
class Row:
    """One request as every viewer sends it, and the status each is answered.

    ``operation`` names rows of the society in braces. Without ``body`` it is sent what the document shows,
    with ids of the owner's rows.
    """

    operation: str
    statuses: dict[str, int]
    body: dict[str, Any] | None

    @property
    def method(self) -> str:
        return self.operation.partition(" ")[0]

    @property
    def path(self) -> str:
        return f"/api/v1{self.operation.partition(' ')[2]}"


def row(operation: str, *statuses: int, body: dict[str, Any] | None = None) -> Row:
    """A row of the table, statuses in the order of ``VIEWERS``."""
    return Row(operation, dict(zip(VIEWERS, statuses, strict=True)), body)


RULE = {"rule": "most capsules"}
PARTNERS_OWN = {"seed_parent_id": "{partners_seed}", "pollen_plant_ids": ["{plant}"]}
NEW_TOKEN = {"name": "another", "scopes": ["read"]}
WRONG = "a pond by the weir"
SIGN_IN = {"email": "{email}", "password": "{password}", **NEW_TOKEN}
ADDRESS = {"name": "To whom", "lines": ["1 Mill Lane"], "town": "Pondville", "country": "DE"}
PARTNERS_YES = {"pairing_id": "{free_pairing}", "doses": 1, "terms": ["tell_result", "{other_term}"]}
QUIET_YES = {"answer": "yes", "treatment": "dried", "doses": 2}
NOW = {"note": "windy"}
PARTNERS_STORE = {"store_id": "{partners_store}"}
FELT = {"felt": "cool", "packet_id": "{way}"}
NEW_LOT = {"plant_id": "{plant}", "flowers_emptied": 2}
PLACE = {"gathering_id": "{gathering}"}
RECALL = {"kind": "pest", "found_on": "2027-06-30"}
OWNERS_YES = {"pairing_id": "{free_pairing}", "doses": 1, "post_from": "home"}
DONORS_STATEMENT = {
    "botanical_name": "Nymphaea hybrid",
    "origin": "cultivated",
    "free_of_soil_water_insects": True,
    "rights": "not_known",
}

# fmt: off
ROWS = (
    # Columns: anonymous, outsider, partner, ex_partner, coordinator, owner.
    # --- for everybody ---
    row("GET /problems", 200, 200, 200, 200, 200, 200),
    row("GET /public/market", 200, 200, 200, 200, 200, 200),
    row("POST /try-out", 200, 200, 200, 200, 200, 200),
    row("GET /taxa", 200, 200, 200, 200, 200, 200),
    row("GET /taxa/{taxon}", 200, 200, 200, 200, 200, 200),
    # --- whoever asks ---
    row("GET /me", 401, 200, 200, 200, 200, 200),
    row("PATCH /me", 401, 200, 200, 200, 200, 200),
    row("DELETE /me", 401, 403, 403, 403, 403, 403),  # only in a session of the pages
    row("GET /me/mail", 401, 200, 200, 200, 200, 200),
    row("PATCH /me/mail", 401, 200, 200, 200, 200, 200),
    row("GET /tokens", 401, 200, 200, 200, 200, 200),
    row("POST /tokens", 401, 403, 403, 403, 403, 403, body=NEW_TOKEN),  # a token makes no tokens
    row("POST /tokens", 201, 201, 201, 201, 201, 201, body=SIGN_IN),  # who knows the password is the owner
    row("POST /tokens", 401, 401, 401, 401, 401, 401, body={**SIGN_IN, "password": WRONG}),
    row("GET /tokens/{token}", 401, 404, 404, 404, 404, 200),
    row("PATCH /tokens/{token}", 401, 404, 404, 404, 404, 200),
    row("DELETE /tokens/{token}", 401, 404, 404, 404, 404, 204),
    row("GET /calendar-feeds", 401, 200, 200, 200, 200, 200),
    row("POST /calendar-feeds", 401, 201, 201, 201, 201, 201),
    row("GET /calendar-feeds/{calendar_feed}", 401, 404, 404, 404, 404, 200),
    row("DELETE /calendar-feeds/{calendar_feed}", 401, 404, 404, 404, 404, 204),
    row("GET /me/address", 401, 200, 200, 200, 200, 200),
    row("PATCH /me/address", 401, 200, 200, 200, 200, 200, body={**ADDRESS, "password": "{password}"}),
    row("PATCH /me/address", 401, 403, 403, 403, 403, 403, body={**ADDRESS, "password": WRONG}),
    row("DELETE /me/address", 401, 404, 204, 204, 204, 204),
    row("GET /address-views", 401, 200, 200, 200, 200, 200),
    # --- addresses that are told ---
    row("GET /webhooks", 401, 200, 200, 200, 200, 200),
    row("POST /webhooks", 401, 201, 201, 201, 201, 201),
    row("GET /webhooks/{webhook}", 401, 404, 404, 404, 404, 200),
    row("PATCH /webhooks/{webhook}", 401, 404, 404, 404, 404, 200),
    row("DELETE /webhooks/{webhook}", 401, 404, 404, 404, 404, 204),
    row("POST /webhooks/{webhook}/rotate", 401, 404, 404, 404, 404, 200),
    row("GET /webhooks/{webhook}/deliveries", 401, 404, 404, 404, 404, 200),
    row("POST /webhook-deliveries/{delivery}/resend", 401, 404, 404, 404, 404, 200),
    # --- assays ---
    row("POST /germination-counts", 401, 200, 200, 200, 200, 200),
    # --- sites ---
    row("GET /sites", 401, 200, 200, 200, 200, 200),
    row("POST /sites", 401, 201, 201, 201, 201, 201),
    row("GET /sites/{site}", 401, 404, 404, 404, 404, 200),
    row("PATCH /sites/{site}", 401, 404, 404, 404, 404, 200),
    row("GET /sites/{site}/weather-days", 401, 404, 404, 404, 404, 200),
    row("POST /sites/{site}/weather-days", 401, 404, 404, 404, 404, 201),
    row("POST /sites/{site}/weather-days/import", 401, 404, 404, 404, 404, 200),
    # --- plants ---
    row("GET /plants", 401, 200, 200, 200, 200, 200),
    row("GET /plants?site={site}", 401, 200, 200, 200, 200, 200),
    row("POST /plants", 401, 422, 422, 422, 422, 201),
    row("POST /plants/import", 401, 422, 422, 422, 422, 200),
    row("GET /plants/export", 401, 200, 200, 200, 200, 200),
    row("GET /plants/export?site={site}", 401, 200, 200, 200, 200, 200),
    row("GET /plants/{plant}", 401, 404, 404, 404, 404, 200),
    row("GET /plants/{seed}", 401, 404, 404, 404, 404, 200),
    row("PATCH /plants/{plant}", 401, 404, 404, 404, 404, 200),
    row("GET /plants/{plant}/relatives", 401, 404, 404, 404, 404, 200),
    row("GET /plants/{seed}/relatives", 401, 404, 404, 404, 404, 200),
    row("GET /plants/{plant}/bloom-forecast", 401, 404, 404, 404, 404, 200),
    row("GET /plants/{plant}/bloom-seasons", 401, 404, 404, 404, 404, 200),
    row("POST /plants/{plant}/bloom-seasons", 401, 404, 404, 404, 404, 201),
    row("GET /plants/{plant}/bloom-sightings", 401, 404, 404, 404, 404, 200),
    row("POST /plants/{plant}/bloom-sightings", 401, 404, 404, 404, 404, 201),
    row("GET /plants/{plant}/usual-bloom", 401, 404, 404, 404, 404, 200),
    row("POST /plants/{plant}/usual-bloom", 401, 404, 404, 404, 404, 200),
    row("GET /bloom-seasons/{season}", 401, 404, 404, 404, 404, 200),
    row("PATCH /bloom-seasons/{season}", 401, 404, 404, 404, 404, 200, body={"last_flower_on": "2025-09-13"}),
    row("POST /bloom-seasons/import", 401, 422, 422, 422, 422, 200),
    row("GET /bloom-seasons/export", 401, 200, 200, 200, 200, 200),
    # --- offers and wanted crosses ---
    row("GET /offers", 401, 200, 200, 200, 200, 200),
    row("GET /offers?plant={plant}", 401, 200, 200, 200, 200, 200),
    row("POST /offers", 401, 422, 422, 422, 422, 201),
    row("GET /offers/{offer}", 401, 404, 404, 404, 404, 200),
    row("PATCH /offers/{offer}", 401, 404, 404, 404, 404, 200),
    row("POST /offers/pause-all", 401, 200, 200, 200, 200, 200),
    row("POST /offers/{offer}/pause", 401, 404, 404, 404, 404, 200),
    row("POST /offers/{offer}/reopen", 401, 404, 404, 404, 404, 200),
    row("POST /offers/{offer}/close", 401, 404, 404, 404, 404, 200),
    row("POST /offers/{request}/collect", 401, 404, 404, 404, 404, 200),
    row("POST /offers/{offer}/came-up-short", 401, 404, 404, 404, 404, 200),
    row("POST /offers/{offer}/keep-back", 401, 404, 404, 404, 404, 200),
    row("POST /offers/{offer}/still-true", 401, 404, 404, 404, 404, 200),
    row("GET /wanted-crosses", 401, 200, 200, 200, 200, 200),
    row("POST /wanted-crosses", 401, 422, 422, 422, 422, 201),
    row("POST /wanted-crosses", 401, 422, 201, 422, 422, 422, body=PARTNERS_OWN),  # a plant shown
    row("GET /wanted-crosses/{wanted}", 401, 404, 404, 404, 404, 200),
    row("GET /wanted-crosses/{partners_wanted}", 401, 404, 200, 404, 404, 404),  # nor its donor
    row("POST /wanted-crosses/{wanted}/pause", 401, 404, 404, 404, 404, 200),
    row("POST /wanted-crosses/{partners_wanted}/pause", 401, 404, 200, 404, 404, 404),
    row("POST /wanted-crosses/{wanted}/reopen", 401, 404, 404, 404, 404, 200),
    row("POST /wanted-crosses/{partners_wanted}/reopen", 401, 404, 200, 404, 404, 404),
    row("POST /wanted-crosses/{wanted}/close", 401, 404, 404, 404, 404, 200),
    row("POST /wanted-crosses/{partners_wanted}/close", 401, 404, 200, 404, 404, 404),
    row("GET /wanted-crosses/{wanted}/explanation", 401, 404, 404, 404, 200, 404),
    row("GET /wanted-crosses/{partners_wanted}/explanation", 401, 404, 404, 404, 200, 404),
    # --- pairings and what was told of them ---
    row("GET /pairings", 401, 200, 200, 200, 200, 200),
    row("GET /pairings?offer={offer}", 401, 200, 200, 200, 200, 200),
    row("GET /pairings?wanted_cross={partners_wanted}", 401, 200, 200, 200, 200, 200),
    row("GET /pairings/{pairing}", 401, 404, 200, 404, 404, 200),
    row("GET /pairings/{old_pairing}", 401, 404, 404, 200, 404, 200),
    row("POST /pairings/{pairing}/seen", 401, 404, 200, 404, 404, 200),
    row("POST /pairings/{old_pairing}/seen", 401, 404, 404, 200, 404, 200),
    row("POST /pairings/{pairing}/dismiss", 401, 404, 200, 404, 404, 200),
    row("POST /pairings/{old_pairing}/dismiss", 401, 404, 404, 409, 404, 409),
    row("GET /notifications", 401, 200, 200, 200, 200, 200),
    row("GET /notifications/{notification}", 401, 404, 404, 404, 404, 200),
    row("POST /notifications/{notification}/read", 401, 404, 404, 404, 404, 200),
    row("POST /notifications/read", 401, 200, 200, 200, 200, 200),
    # --- agreements: the partner is the recipient, the owner the donor ---
    row("GET /agreements", 401, 200, 200, 200, 200, 200),
    row("GET /agreements?state=agreed&role=donor", 401, 200, 200, 200, 200, 200),
    row("POST /agreements", 401, 422, 201, 422, 422, 422, body=PARTNERS_YES),  # the donor ticks no terms
    row("POST /agreements", 401, 422, 422, 422, 422, 201, body=OWNERS_YES),
    row("GET /agreements/{agreement}", 401, 404, 200, 404, 404, 200),
    row("GET /agreements/{proposed}", 401, 404, 200, 404, 404, 200),
    row("GET /agreements/{sent}", 401, 404, 200, 404, 404, 200),
    row("GET /agreements/{ended}", 401, 404, 404, 200, 404, 200),
    row("POST /agreements/{asked}/accept", 401, 404, 409, 404, 404, 200),  # nobody says both yeses
    row("POST /agreements/{asked}/decline", 401, 404, 409, 404, 404, 200),
    row("POST /agreements/{proposed}/decline", 401, 404, 409, 404, 404, 200),
    row("POST /agreements/{proposed}/withdraw", 401, 404, 200, 404, 404, 409),
    row("POST /agreements/{agreement}/withdraw", 401, 404, 200, 404, 404, 200),
    row("POST /agreements/{ended}/withdraw", 401, 404, 404, 409, 404, 409),
    row("POST /agreements/{agreement}/postpone", 401, 404, 200, 404, 404, 200),
    row("POST /agreements/{agreement}/send-less", 401, 404, 409, 404, 404, 200),
    row("POST /agreements/{agreement}/send", 401, 404, 409, 404, 404, 200),
    row("POST /agreements/{proposed}/send", 401, 404, 409, 404, 404, 409),
    row("POST /agreements/{sent}/end", 401, 404, 200, 404, 404, 200),
    row("POST /agreements/{agreement}/end", 401, 404, 409, 404, 404, 409),  # nothing was sent
    row("POST /agreements/{agreement}/address", 401, 404, 409, 404, 404, 200),
    row("POST /agreements/{proposed}/address", 401, 404, 409, 404, 404, 409),
    row("POST /agreements/{ended}/address", 401, 404, 404, 409, 404, 409),
    row("GET /agreements/{agreement}/address-label", 401, 404, 409, 404, 404, 200),
    row("GET /agreements/{proposed}/address-label", 401, 404, 409, 404, 404, 409),
    row("GET /agreements/{ended}/address-label", 401, 404, 404, 409, 404, 409),
    row("GET /agreements/{agreement}/papers", 401, 404, 200, 404, 404, 200),
    row("GET /agreements/{proposed}/papers", 401, 404, 200, 404, 404, 200),
    row("GET /agreements/{ended}/papers", 401, 404, 404, 200, 404, 200),
    row("POST /agreements/{agreement}/statement", 401, 404, 200, 404, 404, 422),
    row("POST /agreements/{agreement}/statement", 401, 404, 422, 404, 404, 200, body=DONORS_STATEMENT),
    row("GET /agreements/{agreement}/notes", 401, 404, 200, 404, 404, 200),
    row("GET /agreements/{ended}/notes", 401, 404, 404, 200, 404, 200),
    row("POST /agreements/{agreement}/notes", 401, 404, 201, 404, 404, 201),
    row("POST /agreements/{ended}/notes", 401, 404, 404, 409, 404, 409),
    row("GET /agreement-notes/{note}", 401, 404, 200, 404, 404, 200),
    row("GET /agreement-notes/{reported}", 401, 404, 200, 404, 404, 200),
    row("POST /agreement-notes/{note}/report", 401, 404, 409, 404, 404, 200),  # never one's own
    row("POST /agreement-notes/{reported}/report", 401, 404, 409, 404, 404, 200),
    row("GET /reported-notes", 401, 404, 404, 404, 200, 404),
    # --- borders, whom one may ask, whom one does not want to meet ---
    row("GET /border-notes", 401, 200, 200, 200, 200, 200),
    row("POST /border-notes", 401, 201, 201, 201, 201, 201),
    row("GET /border-notes/{filed_note}", 401, 200, 200, 200, 200, 200),
    row("GET /border-notes/{waiting_note}", 401, 404, 200, 404, 200, 404),
    row("POST /border-notes/{waiting_note}/confirm", 401, 404, 404, 404, 200, 404),
    row("POST /border-notes/{waiting_note}/refuse", 401, 404, 404, 404, 200, 404),
    row("POST /border-notes/{filed_note}/refuse", 401, 404, 404, 404, 200, 404),
    row("GET /quiet-asks", 401, 200, 200, 200, 200, 200),
    row("POST /quiet-asks/{ask}/answer", 401, 404, 404, 404, 404, 200),
    row("POST /quiet-asks/{ask}/answer", 401, 404, 404, 404, 404, 200, body=QUIET_YES),
    row("GET /blocks", 401, 200, 200, 200, 200, 200),
    row("POST /blocks", 401, 201, 201, 201, 201, 201, body={"handle": "{bystander}"}),
    row("POST /blocks", 401, 422, 201, 422, 422, 201, body={"agreement_id": "{agreement}"}),
    row("POST /blocks", 401, 422, 201, 422, 422, 201, body={"agreement_id": "{proposed}"}),
    row("POST /blocks", 401, 422, 201, 422, 422, 201, body={"pairing_id": "{pairing}"}),
    row("GET /blocks/{block}", 401, 404, 404, 404, 404, 200),
    row("DELETE /blocks/{block}", 401, 404, 404, 404, 404, 204),
    # --- lots: doses of one are promised to the partner, and a packet is on its way to them ---
    row("GET /lots", 401, 200, 200, 200, 200, 200),
    row("GET /lots?plant={plant}", 401, 200, 200, 200, 200, 200),
    row("POST /lots", 401, 422, 422, 422, 422, 201, body=NEW_LOT),
    row("GET /lots/{lot}", 401, 404, 200, 404, 404, 200),
    row("GET /lots/{own_lot}", 401, 404, 404, 404, 404, 200),
    row("GET /lots/{lot}/events", 401, 404, 200, 404, 404, 200),
    row("GET /lots/{own_lot}/events", 401, 404, 404, 404, 404, 200),
    row("GET /lots/{lot}/viability", 401, 404, 200, 404, 404, 200),
    row("GET /lots/{lot}/viability?packet={way}", 401, 404, 200, 404, 404, 200),
    row("GET /lots/{own_lot}/viability", 401, 404, 404, 404, 404, 200),
    row("GET /lots/{lot}/tests", 401, 404, 200, 404, 404, 200),
    row("POST /lots/{lot}/tests", 401, 404, 409, 404, 404, 201),  # the partner holds no packet yet
    row("GET /lots/{lot}/temperatures", 401, 404, 200, 404, 404, 200),
    row("GET /lots/{own_lot}/temperatures", 401, 404, 404, 404, 404, 200),
    row("POST /lots/{lot}/temperatures/preview", 401, 404, 409, 404, 404, 200),  # it lies at the owner's
    row("POST /lots/{lot}/temperatures", 401, 404, 409, 404, 404, 201),
    row("POST /lots/{lot}/temperatures/felt", 401, 404, 201, 404, 404, 201, body=FELT),
    row("GET /temperatures/{temperature}/photo", 401, 404, 200, 404, 404, 200),
    row("GET /lots/{lot}/label", 401, 404, 404, 404, 404, 200),
    row("GET /lots/{lot}/label?packet={way}", 401, 404, 404, 404, 404, 200),  # who holds none prints none
    row("GET /lots/{lot}/label.svg", 401, 404, 404, 404, 404, 200),
    row("GET /lots/{lot}/epcis", 401, 404, 200, 404, 404, 200),
    row("POST /lots/{own_lot}/correct", 401, 404, 404, 404, 404, 200),
    row("POST /lots/{lot}/correct", 401, 404, 404, 404, 404, 200),
    row("POST /lots/{own_lot}/dried", 401, 404, 404, 404, 404, 200, body=NOW),
    row("POST /lots/{own_lot}/move", 401, 404, 404, 404, 404, 200, body={"store_id": "{store}"}),
    row("POST /lots/{own_lot}/put-in-fluid", 401, 404, 404, 404, 404, 200, body=NOW),
    row("POST /lots/{own_lot}/use-up", 401, 404, 404, 404, 404, 200, body=NOW),
    row("POST /lots/{own_lot}/discard", 401, 404, 404, 404, 404, 200, body=NOW),
    row("POST /lots/{lot}/discard", 401, 404, 404, 404, 404, 409, body=NOW),  # doses are promised
    row("POST /lots/{own_lot}/incident", 401, 404, 404, 404, 404, 200, body={"kind": "got_damp"}),
    row("POST /lots/{lot}/packets", 401, 404, 404, 404, 404, 201, body={"doses": 1}),
    row("GET /packets", 401, 200, 200, 200, 200, 200),
    row("GET /packets/{packet}", 401, 404, 200, 404, 404, 200),
    row("GET /packets/{way}", 401, 404, 200, 404, 404, 200),
    row("POST /packets/{packet}/hand-over", 401, 404, 409, 404, 404, 200, body=NOW),
    row("POST /packets/{way}/receive", 401, 404, 200, 404, 404, 422, body=PARTNERS_STORE),
    # --- gatherings: the coordinator is steward of one for the partner's country ---
    row("GET /gatherings", 401, 200, 200, 200, 200, 200),
    row("GET /gatherings?joinable=true", 401, 200, 200, 200, 200, 200),
    row("POST /gatherings", 401, 422, 422, 422, 422, 201),
    row("GET /gatherings/{gathering}", 401, 404, 200, 404, 200, 200),
    row("PATCH /gatherings/{gathering}", 401, 404, 409, 404, 200, 409),
    row("POST /gatherings/{gathering}/close", 401, 404, 409, 404, 200, 409),
    row("POST /gatherings/{gathering}/call-off", 401, 404, 409, 404, 200, 409),
    row("GET /gatherings/{gathering}/detours", 401, 404, 200, 404, 200, 200),
    row("GET /agreements/{joining}/detour", 401, 404, 404, 404, 404, 404),  # none was asked for
    row("GET /agreements/{asked_way}/detour", 401, 404, 200, 404, 404, 200),  # not before the donor's yes
    row("GET /agreements/{answered}/detour", 401, 404, 200, 404, 200, 200),
    row("GET /agreements/{routed}/detour", 401, 404, 200, 404, 200, 200),
    row("POST /agreements/{joining}/detour", 401, 404, 200, 404, 404, 409, body=PLACE),
    row("POST /agreements/{asked_way}/detour-yes", 401, 404, 409, 404, 404, 200, body={}),
    row("POST /agreements/{answered}/detour-accept", 401, 404, 409, 404, 200, 409),
    row("POST /agreements/{answered}/detour-decline", 401, 404, 409, 404, 200, 409),
    row("POST /agreements/{answered}/detour-withdraw", 401, 404, 200, 404, 409, 200),
    row("POST /agreements/{routed}/detour-withdraw", 401, 404, 200, 404, 200, 200),
    row("POST /agreements/{routed}/detour-address", 401, 404, 409, 404, 409, 200),  # no packet has come yet
    row("POST /agreements/{routed}/address", 401, 404, 409, 404, 404, 409),  # not the recipient's
    row("GET /packets/{routed_packet}", 401, 404, 200, 404, 200, 200),
    row("GET /shipments/{to_steward}", 401, 404, 200, 404, 200, 200),
    row("POST /shipments/{to_steward}/pack", 401, 404, 409, 404, 409, 200),
    # --- parcels: one planned for what was promised to the partner, one on its way to them ---
    row("GET /shipments", 401, 200, 200, 200, 200, 200),
    row("POST /shipments", 401, 422, 409, 422, 422, 201, body={"agreement_id": "{agreement}"}),
    row("GET /shipments/{planned}", 401, 404, 200, 404, 404, 200),
    row("GET /shipments/{posted}", 401, 404, 200, 404, 404, 200),
    row("PATCH /shipments/{planned}", 401, 404, 409, 404, 404, 200),
    row("POST /shipments/{planned}/pack", 401, 404, 409, 404, 404, 200),
    row("POST /shipments/{planned}/call-off", 401, 404, 409, 404, 404, 200),
    row("POST /shipments/{planned}/dispatch", 401, 404, 409, 404, 404, 200),
    row("POST /shipments/{posted}/hold", 401, 404, 200, 404, 404, 200),
    row("POST /shipments/{posted}/receive", 401, 404, 200, 404, 404, 422, body=PARTNERS_STORE),
    row("POST /shipments/{posted}/refused", 401, 404, 200, 404, 404, 200),
    row("POST /shipments/{posted}/lost", 401, 404, 200, 404, 404, 200),
    row("POST /shipments/{posted}/returned", 401, 404, 200, 404, 404, 200),
    row("GET /carrier-services", 401, 200, 200, 200, 200, 200),
    row("POST /carrier-services", 401, 201, 201, 201, 201, 201),
    row("GET /carrier-services/{service}", 401, 404, 404, 404, 404, 200),
    row("PATCH /carrier-services/{service}", 401, 404, 404, 404, 404, 200),
    row("DELETE /carrier-services/{service}", 401, 404, 404, 404, 404, 204),
    row("GET /stores", 401, 200, 200, 200, 200, 200),
    row("POST /stores", 401, 201, 201, 201, 201, 201),
    row("GET /stores/{store}", 401, 404, 404, 404, 404, 200),
    row("PATCH /stores/{store}", 401, 404, 404, 404, 404, 200),
    row("POST /stores/{store}/incident", 401, 404, 404, 404, 404, 200),
    row("POST /plants/{plant}/recalls", 401, 404, 404, 404, 404, 201, body=RECALL),
    row("GET /recalls", 401, 200, 200, 200, 200, 200),
    row("GET /recalls/{recall}", 401, 404, 200, 404, 404, 200),
    # --- rounds of proposals ---
    row("GET /matching-runs", 401, 404, 404, 404, 200, 404),
    row("POST /matching-runs", 401, 404, 404, 404, 202, 404, body=RULE),
    row("POST /matching-runs/dry-run", 401, 404, 404, 404, 200, 404, body=RULE),
    row("GET /matching-runs/{run}", 401, 404, 404, 404, 200, 404),
    row("GET /matching-orders/{order}", 401, 404, 404, 404, 200, 404),
)
# fmt: on
