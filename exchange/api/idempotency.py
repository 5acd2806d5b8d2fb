"""A creating request that may be sent again: the same key gives the same answer for a day.

After draft-ietf-httpapi-idempotency-key-header-07 (2025). The answer is stored in the transaction that
does the work: a server that dies leaves both or neither.
"""

import hashlib
import json
import re
import uuid
from base64 import b64decode, b64encode
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.http import HttpResponse
from django.utils.crypto import salted_hmac
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from rest_framework.request import Request

from exchange.api.errors import ApiProblem, Fault
from exchange.api.media import json_bytes
from exchange.models import IdempotentAnswer
from exchange.services.cipher import decrypted, encrypted
from growers import clock
from growers.models import Grower

HEADER = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
KEPT = timedelta(hours=24)
CLAIM_LASTS = timedelta(seconds=90)
KEY = re.compile(r'"?([A-Za-z0-9_-]{8,64})"?', re.ASCII)
PATTERN = r'^"?[A-Za-z0-9_-]{8,64}"?$'
KEPT_HEADERS = ("Content-Type", "Location", "ETag")


@dataclass(frozen=True)
class Once:
    """One attempt at one operation of one grower under one key."""

    grower: Grower
    operation: str
    key: str
    fingerprint: str
    keeps_answer: bool = True

    def run(self, work: Callable[[], HttpResponse]) -> HttpResponse:
        """Do the work, or replay the answer of the time before."""
        answer, is_ours = self._claim()
        if not is_ours:
            return self._replay(answer)
        try:
            with transaction.atomic():
                response = work()
                self._finish(answer, response)
        except BaseException:
            _mine(answer).delete()
            raise
        return response

    def _claim(self) -> tuple[IdempotentAnswer, bool]:
        now = clock.true_now()
        # The sweep forgets all that has expired; this key must be free now.
        self._same().filter(expires_at__lte=now).delete()
        fresh = IdempotentAnswer(
            grower=self.grower,
            operation=self.operation,
            key=self.key,
            fingerprint=self.fingerprint,
            claim=uuid.uuid4(),
            claimed_until=now + CLAIM_LASTS,
            expires_at=now + KEPT,
        )
        try:
            with transaction.atomic():
                fresh.save(force_insert=True)
        except IntegrityError:
            return self._claim_left(fresh)
        return fresh, True

    def _same(self) -> QuerySet[IdempotentAnswer]:
        return IdempotentAnswer.objects.filter(grower=self.grower, operation=self.operation, key=self.key)

    def _claim_left(self, fresh: IdempotentAnswer) -> tuple[IdempotentAnswer, bool]:
        """The stored attempt; ours if whoever made it has died."""
        left = Q(state=IdempotentAnswer.State.RUNNING, claimed_until__lte=clock.true_now())
        same = self._same()
        taken = same.filter(left, fingerprint=self.fingerprint).update(
            claim=fresh.claim, claimed_until=fresh.claimed_until
        )
        stored = same.first()
        if stored is None:
            raise ApiProblem("request_running")
        return stored, taken == 1

    def _replay(self, stored: IdempotentAnswer) -> HttpResponse:
        if stored.fingerprint != self.fingerprint:
            raise ApiProblem("key_reused")
        if stored.state == IdempotentAnswer.State.RUNNING:
            raise ApiProblem("request_running")
        if stored.state == IdempotentAnswer.State.SECRET:
            raise ApiProblem("secret_already_shown")
        kept = json.loads(decrypted(bytes(stored.answer)))
        body = b64decode(kept["body"])
        return HttpResponse(body, status=kept["status"], headers={**kept["headers"], REPLAYED: "true"})

    def _finish(self, answer: IdempotentAnswer, response: HttpResponse) -> None:
        state, content = IdempotentAnswer.State.SECRET, b""
        if self.keeps_answer:
            headers = {name: response[name] for name in KEPT_HEADERS if name in response}
            body = b64encode(response.content).decode("ascii")
            record = {"status": response.status_code, "headers": headers, "body": body}
            state, content = IdempotentAnswer.State.DONE, encrypted(json_bytes(record))
        if not _mine(answer).update(state=state, answer=content):
            # Another attempt took over while we worked: its work stands, ours is undone.
            raise ApiProblem("request_running")


def _mine(answer: IdempotentAnswer) -> QuerySet[IdempotentAnswer]:
    return IdempotentAnswer.objects.filter(pk=answer.pk, claim=answer.claim)


def required_key(request: Request) -> str:
    """The key of the request, without the quotes of a structured field."""
    sent = request.headers.get(HEADER)
    if sent is None:
        raise ApiProblem("idempotency_key_missing")
    found = KEY.fullmatch(str(sent))
    if found is None:
        detail = _("8 to 64 letters, digits, - and _, such as a UUID.")
        fault = Fault("invalid", detail, parameter=HEADER)
        raise ApiProblem("does_not_fit", faults=[fault])
    return found[1]


def fingerprint(request: Request) -> str:
    """What identifies the request's body, as a keyed hash: a body may hold a password."""
    canonical = json.dumps(_as_json(request.data), sort_keys=True, separators=(",", ":"))
    return salted_hmac("exchange.api.idempotency", canonical, algorithm="sha256").hexdigest()


def _as_json(data: Any) -> Any:
    """A form as JSON could say it; of a file its content counts, and not what it was called on a disk."""
    if not isinstance(data, MultiValueDict):
        return data
    return {
        name: _content(value) if isinstance(value, UploadedFile) else value for name, value in data.items()
    }


def _content(file: "UploadedFile[Any]") -> str:
    file.seek(0)
    digest = hashlib.sha256(file.read()).hexdigest()
    file.seek(0)
    return digest
