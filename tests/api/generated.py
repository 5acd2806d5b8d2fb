"""A client of the API made by a program from the document: a function an operation, a model an answer."""

import json
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from exchange.api.page import document, document_json

METHODS = ("get", "post", "put", "patch", "delete")
PROGRAM = "openapi-python-client"
FILES = ("application/pdf", "image/svg+xml", "image/jpeg")
"""Media types that the program has to be told are files."""


@dataclass(frozen=True)
class Described:
    """One operation as the document has it."""

    name: str
    tag: str
    responses: dict[str, Any]


def described() -> list[Described]:
    """All operations of the document."""
    paths: Any = document()["paths"]
    return [
        Described(item[method]["operationId"], item[method]["tags"][0], item[method]["responses"])
        for item in paths.values()
        for method in METHODS
        if method in item
    ]


def generate(folder: Path, package: str) -> subprocess.CompletedProcess[str]:
    """Generate a package from the document as it is served; a warning is an error."""
    (folder / "openapi.json").write_bytes(document_json())
    as_files = {"content_type_overrides": dict.fromkeys(FILES, "application/octet-stream")}
    (folder / "config.json").write_text(json.dumps(as_files), encoding="utf-8")
    binaries = Path(sys.executable).parent
    options = ["--config", str(folder / "config.json")]
    options += ["--path", str(folder / "openapi.json"), "--output-path", str(folder / package)]
    return subprocess.run(
        [str(binaries / PROGRAM), "generate", "--meta", "none", "--fail-on-warning", *options],
        env={"PATH": str(binaries)},  # where the program that tidies the code is
        cwd=folder,
        check=False,
        capture_output=True,
        text=True,
    )


@contextmanager
def importable(folder: Path, package: str) -> Iterator["Package"]:
    """The generated package, for as long as it is needed."""
    sys.path.insert(0, str(folder))
    try:
        yield Package(package, {each.name: each.tag for each in described()})
    finally:
        sys.path.remove(str(folder))
        for name in [each for each in sys.modules if each.split(".")[0] == package]:
            del sys.modules[name]


@dataclass(frozen=True)
class Package:
    """What was generated, found by the names of the document."""

    name: str
    tags: dict[str, str]

    def operation(self, name: str) -> Any:
        """The module of an operation."""
        folder = self.tags[name].replace(" ", "_")
        return import_module(f"{self.name}.api.{folder}.{name}")

    def model(self, name: str) -> Any:
        """A model or a list of choices."""
        return getattr(import_module(f"{self.name}.models"), name)

    def client(self, host: str, token: str = "") -> Any:
        """A client that takes nothing for an answer but what is declared."""
        made = import_module(f"{self.name}.client")
        options = {"base_url": host, "raise_on_unexpected_status": True}
        return made.AuthenticatedClient(token=token, **options) if token else made.Client(**options)


@dataclass(frozen=True)
class Person:
    """One who calls generated functions only."""

    package: Package
    client: Any

    def ask(self, operation: str, answer: str, *path: Any, status: int = 200, **stated: Any) -> Any:
        """Call an operation; the answer has this status and is a model of this name."""
        response = self.package.operation(operation).sync_detailed(*path, client=self.client, **stated)
        assert response.status_code == status, (operation, response.content)
        assert type(response.parsed) is self.package.model(answer), (operation, response.parsed)
        return response.parsed

    def make(self, operation: str, answer: str, body: str, **fields: Any) -> Any:
        """Call an operation that creates something of a body."""
        sent = self.package.model(body)(**fields)
        key = str(uuid.uuid4())
        return self.ask(operation, answer, status=201, body=sent, idempotency_key=key)
