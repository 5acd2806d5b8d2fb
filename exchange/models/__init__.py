"""Deals as rows. One model a file."""

from exchange.models.address import Address
from exchange.models.address_view import AddressView
from exchange.models.agreement import Agreement
from exchange.models.agreement_address import AgreementAddress
from exchange.models.agreement_event import AgreementEvent
from exchange.models.agreement_note import AgreementNote
from exchange.models.api_token import ApiToken
from exchange.models.assay import Assay
from exchange.models.block import Block
from exchange.models.border_note import BorderNote
from exchange.models.calendar_entry import CalendarEntry
from exchange.models.calendar_feed import CalendarFeed
from exchange.models.carrier_service import CarrierService
from exchange.models.coordinator import Coordinator
from exchange.models.custody_event import CustodyEvent
from exchange.models.detour import Detour
from exchange.models.due import DueTask
from exchange.models.gathering import Gathering
from exchange.models.idempotency import IdempotentAnswer
from exchange.models.incident import Incident
from exchange.models.lease import Lease
from exchange.models.lot import Lot
from exchange.models.lot_outlook import LotOutlook
from exchange.models.mail_choice import MailChoice
from exchange.models.mail_message import MailMessage
from exchange.models.mail_told import MailTold
from exchange.models.matching_order import MatchingOrder
from exchange.models.matching_run import MatchingRun
from exchange.models.note_key import NoteKey
from exchange.models.notification import Notification
from exchange.models.offer import Offer
from exchange.models.packet import Packet
from exchange.models.pairing import Pairing
from exchange.models.papers_statement import PapersStatement
from exchange.models.quiet_ask import QuietAsk
from exchange.models.recall import Recall
from exchange.models.recall_notice import RecallNotice
from exchange.models.reservation import Reservation
from exchange.models.shipment import Shipment
from exchange.models.stay import Stay
from exchange.models.store import Store
from exchange.models.supply import Supply
from exchange.models.temperature_upload import TemperatureUpload
from exchange.models.wanted_cross import WantedCross
from exchange.models.webhook import Webhook
from exchange.models.webhook_delivery import WebhookDelivery

__all__ = [
    "Address",
    "AddressView",
    "Agreement",
    "AgreementAddress",
    "AgreementEvent",
    "AgreementNote",
    "ApiToken",
    "Assay",
    "Block",
    "BorderNote",
    "CalendarEntry",
    "CalendarFeed",
    "CarrierService",
    "Coordinator",
    "CustodyEvent",
    "Detour",
    "DueTask",
    "Gathering",
    "IdempotentAnswer",
    "Incident",
    "Lease",
    "Lot",
    "LotOutlook",
    "MailChoice",
    "MailMessage",
    "MailTold",
    "MatchingOrder",
    "MatchingRun",
    "NoteKey",
    "Notification",
    "Offer",
    "Packet",
    "Pairing",
    "PapersStatement",
    "QuietAsk",
    "Recall",
    "RecallNotice",
    "Reservation",
    "Shipment",
    "Stay",
    "Store",
    "Supply",
    "TemperatureUpload",
    "WantedCross",
    "Webhook",
    "WebhookDelivery",
]
