"""Deals as rows. One model a file."""

from exchange.models.api_token import ApiToken
from exchange.models.border_note import BorderNote
from exchange.models.coordinator import Coordinator
from exchange.models.due import DueTask
from exchange.models.idempotency import IdempotentAnswer
from exchange.models.lease import Lease
from exchange.models.lot import Lot
from exchange.models.matching_order import MatchingOrder
from exchange.models.matching_run import MatchingRun
from exchange.models.notification import Notification
from exchange.models.offer import Offer
from exchange.models.pairing import Pairing
from exchange.models.wanted_cross import WantedCross

__all__ = [
    "ApiToken",
    "BorderNote",
    "Coordinator",
    "DueTask",
    "IdempotentAnswer",
    "Lease",
    "Lot",
    "MatchingOrder",
    "MatchingRun",
    "Notification",
    "Offer",
    "Pairing",
    "WantedCross",
]
