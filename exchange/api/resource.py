"""The base of every resource: one small class an address, one decorated method an operation.

A resource with a row in its address (``<uuid:id>``) says which rows its viewer may know of in ``rows``;
anybody else's row is a 404. That one query is its access rule. Handlers get a :class:`Call` in which
everything has been checked; rules stay in services.

>>> class SiteItem(Resource):
...     tag = "sites"
...
...     def rows(self, call: Call) -> QuerySet[Site]:
...         return Site.objects.filter(grower=call.grower)
...
...     @change("site_change", "Change a site", SiteIn, SiteOut, example=SITE, body_example=PATCH)
...     def patch(self, call: Call) -> Site:
...         return site_update(actor=call.grower, site=call.row, **call.data)
"""

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar, cast

from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.views import APIView

from exchange.api import etag, idempotency
from exchange.api.errors import ApiProblem, Fault, faults_of
from exchange.api.file import file_response
from exchange.api.media import json_bytes
from exchange.api.operation import Call, Operation
from exchange.api.pagination import HIGHEST_LIMIT, Links, Page
from exchange.api.schema import OperationSchema
from exchange.api.strict import StrictSerializer
from exchange.api.table import table_response
from growers.errors import NotFound
from growers.models import Grower


class Resource(APIView):
    """One address of the API."""

    tag: ClassVar[str] = ""
    schema = OperationSchema()
    http_method_names = ["get", "post", "patch", "put", "delete", "head"]

    def rows(self, call: Call) -> QuerySet[Any]:
        """The rows that the viewer may know of; only for an address with an id."""
        raise NotImplementedError

    def represent(self, row: Any) -> Any:
        """What the serializer reads; a selector's dataclass where the row holds more than may be shown."""
        return row

    def represent_each(self, rows: list[Any]) -> Iterable[Any]:
        """The rows of a page; where each needs a query, all of them in one."""
        return map(self.represent, rows)

    def rendered_each(self, operation: Operation, rows: list[Any]) -> Iterable[bytes]:
        """The rows of a page as JSON; where that is costly, as they were rendered before."""
        out = cast(Any, operation.out)
        return map(json_bytes, out(list(self.represent_each(rows)), many=True).data)

    def actor(self, call: Call) -> Grower:
        """Who acts; an operation that signs somebody in finds out here."""
        return cast(Grower, call.request.user)

    def operation(self, method: str | None) -> Operation | None:
        """The operation of an HTTP method."""
        name = "get" if method == "HEAD" else str(method).lower()
        return getattr(getattr(type(self), name, None), "operation", None)

    def find(self, call: Call, path: Mapping[str, Any]) -> Any:
        """The row of the address; a stranger's is not there."""
        if "id" not in path:
            return None
        row = self.rows(call).filter(public_id=path["id"]).first()
        if row is None:
            raise NotFound(_("There is no such thing, or it is not yours to see."))
        return row

    # --- one operation, step by step ---

    def perform(self, operation: Operation, request: Request, path: Mapping[str, Any]) -> HttpResponse:
        """Check everything that is declared, call the handler, answer."""
        call = Call(request, cast(Grower, request.user))
        call.query = query_values(operation, request)
        steps = {
            "page": self._page,
            "table": self._table,
            "document": self._document,
            "create": self._write,
            "act": self._write,
            "change": self._change,
            "remove": self._change,
            "read": self._read,
        }
        response = steps[operation.kind](operation, call, path)
        if operation.secret:
            response["Cache-Control"] = "no-store"
        return response

    def _read(self, operation: Operation, call: Call, path: Mapping[str, Any]) -> HttpResponse:
        call.row = self.find(call, path)
        return etag.tagged(self._content(operation, operation.handler(self, call)))

    def _table(self, operation: Operation, call: Call, path: Mapping[str, Any]) -> HttpResponse:
        call.row = self.find(call, path)
        return table_response(operation.name, operation.handler(self, call))

    def _document(self, operation: Operation, call: Call, path: Mapping[str, Any]) -> HttpResponse:
        call.row = self.find(call, path)
        return file_response(operation.handler(self, call), operation.media_type)

    def _page(self, operation: Operation, call: Call, path: Mapping[str, Any]) -> HttpResponse:
        call.row = self.find(call, path)
        found = operation.handler(self, call)
        page = Page(operation.order)
        is_query = isinstance(found, QuerySet)
        rows = page.rows(found, call.request) if is_query else list(found)
        links = page.links() if is_query else Links()
        response = etag.tagged_bytes(links.around(self.rendered_each(operation, rows)))
        if header := links.header():
            response["Link"] = header
        return response

    def _write(self, operation: Operation, call: Call, path: Mapping[str, Any]) -> HttpResponse:
        key = idempotency.required_key(call.request) if operation.keyed else ""
        if operation.body is not None:
            call.data = body_values(operation.body, call.request)
        call.grower = self.actor(call)
        call.row = self.find(call, path)
        if not operation.keyed:
            return self._done(operation, call)
        once = idempotency.Once(
            call.grower,
            f"{operation.name} {call.request.path}",
            key,
            idempotency.fingerprint(call.request),
            keeps_answer=not operation.secret,
        )
        return once.run(lambda: self._done(operation, call))

    def _done(self, operation: Operation, call: Call) -> HttpResponse:
        result = operation.handler(self, call)
        content = self._content(operation, result)
        response = etag.tagged(content, operation.status)
        if operation.at:
            response["Location"] = reverse(operation.at, kwargs={"id": content["id"]})
        return response

    def _change(self, operation: Operation, call: Call, path: Mapping[str, Any]) -> HttpResponse:
        header = etag.required_match(call.request)
        if operation.body is not None:
            call.data = body_values(operation.body, call.request, partial=True)
        self.admit(call)
        with transaction.atomic():
            self.lock(call)
            call.row = self.find(call, path)
            etag.match_check(header, self._content(self._reading(operation), call.row))
            result = operation.handler(self, call)
            content = None if operation.out is None else self._content(operation, result)
        return HttpResponse(status=204) if content is None else etag.tagged(content)

    def admit(self, call: Call) -> None:
        """Ask for more than a token before a change; nothing unless a resource says so."""

    def lock(self, call: Call) -> None:
        """Let changes of one grower wait for each other, so that none slips in after the tag was compared.

        Always the grower's row first and the changed row by its service: no two wait for each other in a
        ring. A resource that several growers change locks what they share instead.
        """
        # Not against those who only refer to the grower: they may hold what our service waits for.
        mine = Grower.objects.select_for_update(no_key=True).filter(pk=call.grower.pk)
        mine.values_list("pk").first()

    def _reading(self, operation: Operation) -> Operation:
        """The operation whose ETag a change is compared with."""
        return self.operation("GET") or operation

    def _content(self, operation: Operation, result: Any) -> Any:
        out = cast(Any, operation.out)
        return out(self.represent(result)).data


def body_values(body: type[StrictSerializer], request: Request, *, partial: bool = False) -> dict[str, Any]:
    """The body's checked values."""
    serializer = body(data=request.data, partial=partial)
    serializer.is_valid(raise_exception=True)
    return cast("dict[str, Any]", serializer.validated_data)


def query_values(operation: Operation, request: Request) -> dict[str, Any]:
    """The query parameters' checked values; an unknown or repeated one is a mistake, not silence."""
    sent = {name: str(value) for name, value in request.query_params.items()}
    faults = [
        Fault("repeated", _("State it once."), parameter=name)
        for name in sent
        if len(request.query_params.getlist(name)) > 1
    ]
    if operation.kind == "page":
        sent.pop("cursor", None)
        limit = sent.pop("limit", "1")
        if not (limit.isascii() and limit.isdecimal() and 1 <= int(limit[:6]) <= HIGHEST_LIMIT):
            detail = _("limit must be a whole number from 1 to {highest}.").format(highest=HIGHEST_LIMIT)
            faults.append(Fault("invalid", detail, parameter="limit"))
    serializer = (operation.query or StrictSerializer)(data=sent)
    if not serializer.is_valid():
        found = faults_of(serializer.errors)
        faults += [Fault(each.code, each.detail, parameter=(each.pointer or "")[1:]) for each in found]
    if faults:
        raise ApiProblem("does_not_fit", faults=faults)
    return cast("dict[str, Any]", serializer.validated_data)
