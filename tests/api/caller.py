"""A client of the API as tests use it: JSON in and out, a fresh key and the right tag where needed."""

import json
import uuid
from dataclasses import dataclass, field
from typing import Any, cast

import pypdfium2
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from exchange.services.account import email_confirm
from exchange.services.api_token import token_create
from growers.models import Grower
from growers.services.grower import grower_create

ROOT = "/api/v1"


@dataclass
class Answer:
    """What came back."""

    response: HttpResponse

    @property
    def status(self) -> int:
        return self.response.status_code

    @property
    def body(self) -> Any:
        return json.loads(self.response.content)

    @property
    def text(self) -> str:
        """All that can be read in it, of a PDF the words of its pages."""
        content = self.response.content
        if self.response["Content-Type"] != "application/pdf":
            return content.decode(errors="replace")
        pages = pypdfium2.PdfDocument(content)
        return "\n".join(page.get_textpage().get_text_range() for page in pages)

    @property
    def code(self) -> str:
        """The code of a problem."""
        assert self.response["Content-Type"] == "application/problem+json", self.response.content
        return cast(str, self.body["code"])

    @property
    def faults(self) -> dict[str, str]:
        """Code of each fault by where it stands."""
        return {each.get("pointer", each.get("parameter", "")): each["code"] for each in self.body["errors"]}

    def __getitem__(self, header: str) -> str:
        return self.response[header]


@dataclass
class Caller:
    """Calls the API with a token, or as nobody."""

    token: str = ""
    client: Client = field(default_factory=lambda: Client(raise_request_exception=False))

    def call(self, method: str, path: str, body: Any = None, **headers: str) -> Answer:
        """One request; ``headers`` in Python's spelling, as ``if_match=``."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if self.token:
            sent["authorization"] = f"Bearer {self.token}"
        content = body if isinstance(body, bytes) else b"" if body is None else json.dumps(body).encode()
        address = path if path.startswith("/") else f"{ROOT}/{path}"
        kind = sent.pop("content-type", "application/json")
        response = self.client.generic(method, address, content, content_type=kind, headers=sent)
        return Answer(cast(HttpResponse, response))

    def get(self, path: str, **headers: str) -> Answer:
        return self.call("GET", path, **headers)

    def post(self, path: str, body: Any = None, **headers: str) -> Answer:
        """A POST with a fresh key unless one is given."""
        return self.call("POST", path, body, **{"idempotency_key": str(uuid.uuid4()), **headers})

    def upload(self, path: str, table: str | bytes, **stated: Any) -> Answer:
        """A POST of a form with a table as its file; of what is stated, headers begin with ``header_``."""
        headers = {name[7:]: stated.pop(name) for name in list(stated) if name.startswith("header_")}
        content = table.encode() if isinstance(table, str) else table
        file = SimpleUploadedFile("from my disk.csv", content, "text/csv")
        body = encode_multipart(BOUNDARY, {**stated, "file": file})
        return self.post(path, body, content_type=MULTIPART_CONTENT, **headers)

    def patch(self, path: str, body: Any, **headers: str) -> Answer:
        """A PATCH of what is there now, unless a tag is given."""
        stated = {"if_match": self.get(path)["ETag"]} if "if_match" not in headers else {}
        return self.call("PATCH", path, body, **stated, **headers)

    def delete(self, path: str, **headers: str) -> Answer:
        return self.call("DELETE", path, **{"if_match": "*", **headers})


PASSWORD = "a pond by the mill"


def make_member(known_as: str = "member", *, confirmed: bool = True) -> Grower:
    """A grower who can sign in by password."""
    grower = grower_create(handle=known_as, email=f"{known_as}@example.org", password=PASSWORD)
    if confirmed:
        email_confirm(grower=grower)
    return grower


def caller(grower: Grower, *scopes: str) -> Caller:
    """A client with a token of a grower; with all scopes that growers use unless stated."""
    made = token_create(actor=grower, name="test", scopes=list(scopes or ("read", "write")), lifetime_days=1)
    return Caller(made.secret)
