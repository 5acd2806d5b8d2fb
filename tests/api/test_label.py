"""Labels over HTTP: files to print, whose they are, and the address label, whose every print is noted."""

import uuid
from xml.etree import ElementTree as ET

import pypdfium2
import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import AddressView
from exchange.models.lot_code import code_shown
from exchange.services.address import address_set
from exchange.services.packet import packet_fill
from growers.models import Grower
from tests.api.caller import Answer, Caller, caller
from tests.clock import MovableClock
from tests.exchange.packed import Packed, make_packed
from tests.exchange.refusal import rows
from tests.exchange.services.test_address import HOME
from tests.exchange.society import NOON
from tests.exchange.wording.label_world import page_picture, page_text, symbols

pytestmark = pytest.mark.django_db


@pytest.fixture
def packed(donor: Grower, recipient: Grower, clock: MovableClock) -> Packed:
    cache.clear()
    clock.set(NOON)
    address_set(actor=recipient, **HOME)
    return make_packed(donor, recipient)


def path(packed: Packed, query: str = "", file: str = "label") -> str:
    return f"lots/{packed.lot.public_id}/{file}{'?' if query else ''}{query}"


def content(answer: Answer) -> bytes:
    assert answer.status == 200, answer.response.content
    return bytes(answer.response.content)


def pages(answer: Answer) -> int:
    return len(pypdfium2.PdfDocument(content(answer)))


def labels(answer: Answer, page: int = 0) -> int:
    """Labels on a page, by their symbols."""
    return len(symbols(page_picture(content(answer), page)))


# --- the files ---


def test_a_label_is_a_pdf_whose_symbol_leads_to_the_page(packed: Packed, donor_api: Caller) -> None:
    answer = donor_api.get(path(packed))
    code = packed.lot.code
    assert (answer["Content-Type"], answer["Content-Disposition"]) == (
        "application/pdf",
        f'attachment; filename="label-{code}.pdf"',
    )
    assert answer["Cache-Control"] == "private, no-cache"
    text = page_text(content(answer))
    assert code_shown(code) in text and "'Ferry'" in text and "28 June 2027" in text
    (symbol,) = symbols(page_picture(content(answer)))
    assert symbol.text == f"http://testserver/l/{code}"
    shown = donor_api.client.get(f"/l/{code}")
    assert shown.status_code == 200 and "&#x27;Ferry&#x27;" in shown.content.decode()


def test_the_same_label_has_the_same_tag(packed: Packed, donor_api: Caller) -> None:
    answer = donor_api.get(path(packed))
    assert content(donor_api.get(path(packed))) == content(answer)
    again = donor_api.get(path(packed), if_none_match=answer["ETag"])
    assert (again.status, again.response.content) == (304, b"")


def test_paper_place_and_copies_are_as_asked(packed: Packed, donor_api: Caller) -> None:
    assert labels(donor_api.get(path(packed, "copies=3"))) == 3
    over = donor_api.get(path(packed, "copies=3&start=20"))
    assert (pages(over), labels(over), labels(over, 1)) == (2, 2, 1)
    letter = donor_api.get(path(packed, "sheet=letter&start=14&copies=2"))
    assert (pages(letter), labels(letter), labels(letter, 1)) == (2, 1, 1)
    narrow = donor_api.get(path(packed, "sheet=narrow&copies=4"))
    assert (pages(narrow), labels(narrow)) == (4, 1)


def test_a_packet_has_a_label_of_its_own(packed: Packed, donor_api: Caller) -> None:
    one = donor_api.get(path(packed, f"packet={packed.packet.public_id}"))
    assert "packet 1; 2 doses" in page_text(content(one))
    assert content(donor_api.get(path(packed, "packets=true"))) == content(one)
    assert "packet" not in page_text(content(donor_api.get(path(packed))))


def test_a_blank_label_has_lines_only(packed: Packed, donor_api: Caller) -> None:
    blank = donor_api.get(path(packed, "blank=true&copies=21"))
    assert (pages(blank), labels(blank)) == (1, 0)
    assert packed.lot.code[:4] not in page_text(content(blank))


def test_a_picture_is_one_label_without_script(packed: Packed, donor_api: Caller) -> None:
    answer = donor_api.get(path(packed, file="label.svg"))
    assert answer["Content-Type"] == "image/svg+xml"
    tree = ET.fromstring(content(answer).decode())
    assert tree[0].text == f"{code_shown(packed.lot.code)} 'Ferry'"
    assert b"script" not in content(answer) and b"href" not in content(answer)
    packet = donor_api.get(path(packed, f"packet={packed.packet.public_id}", "label.svg"))
    assert b"2 doses" in content(packet)


# --- whose they are ---


def test_others_have_no_label_of_it(
    packed: Packed, recipient_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    before = rows()
    packet = f"packet={packed.packet.public_id}"
    for query in ("", packet, "packets=true", "blank=true"):
        assert nobody.get(path(packed, query)).status == 401
        # It was promised to the recipient and lies at the donor's.
        for api in (outsider_api, recipient_api):
            refused = api.get(path(packed, query))
            assert (refused.status, refused.code) == (404, "not_found")
            assert packed.lot.code not in refused.response.content.decode()
    assert outsider_api.get(path(packed, packet, "label.svg")).status == 404
    assert {**rows(), "exchange_apitoken": []} == {**before, "exchange_apitoken": []}


def test_a_holder_prints_what_they_hold(packed: Packed, recipient_api: Caller) -> None:
    packed.hand_over()
    packed.receive()
    packet = f"packet={packed.packet.public_id}"
    printed = recipient_api.get(path(packed, packet))
    text = page_text(content(printed))
    assert "packet 1; 2 doses" in text and "donor" not in text and "recipient" not in text
    assert content(recipient_api.get(path(packed, "packets=true"))) == content(printed)
    assert content(recipient_api.get(path(packed, packet, "label.svg")))
    for query in ("", f"packet={uuid.uuid4()}"):
        refused = recipient_api.get(path(packed, query))
        assert (refused.status, refused.code) == (404, "not_found")


@pytest.mark.parametrize(
    ("query", "status", "faults"),
    [
        ("sheet=a3", 400, {"sheet": "invalid_choice"}),
        ("start=0", 400, {"start": "min_value"}),
        ("start=22", 400, {"start": "max_value"}),
        ("copies=101", 400, {"copies": "max_value"}),
        ("copies=0", 400, {"copies": "min_value"}),
        ("packets=1", 400, {"packets": "invalid"}),
        ("packet=1", 400, {"packet": "invalid"}),
        ("size=a4", 400, {"size": "unknown_field"}),
        ("sheet=letter&start=15", 422, {"/start": "out_of_range"}),
        ("sheet=narrow&start=2", 422, {"/start": "not_allowed"}),
        ("blank=true&packets=true", 422, {"/blank": "not_allowed"}),
    ],
)
def test_what_does_not_fit_is_told(
    packed: Packed, donor_api: Caller, query: str, status: int, faults: dict[str, str]
) -> None:
    refused = donor_api.get(path(packed, query))
    assert (refused.status, refused.faults) == (status, faults)


def test_many_packets_cost_as_many_queries_as_one(packed: Packed, donor: Grower, donor_api: Caller) -> None:
    donor_api.get("me")  # the first use of a token is noted
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as captured:
            content(donor_api.get(path(packed, "packets=true")))
        counts.append(len(captured))
        packet_fill(actor=donor, lot=packed.lot, doses=1)
    assert counts[0] == counts[1]


# --- the address ---


def address_path(packed: Packed) -> str:
    return f"agreements/{packed.agreement.public_id}/address-label"


def test_the_donor_prints_the_address_and_its_owner_sees_it(
    packed: Packed, donor_api: Caller, recipient_api: Caller
) -> None:
    answer = donor_api.get(address_path(packed))
    assert (answer["Content-Type"], answer["Cache-Control"]) == ("application/pdf", "no-store")
    assert page_text(content(answer)) == "A. Zwijndrecht 7 Quagmire Lane 0Q7 Xanadu GERMANY"
    assert labels(answer) == 0
    view = AddressView.objects.get()
    assert (view.agreement, view.owner, view.viewer) == (
        packed.agreement,
        packed.agreement.recipient,
        packed.donor,
    )
    assert [each["viewer"] for each in recipient_api.get("address-views").body["results"]] == ["donor"]
    donor_api.get(address_path(packed))
    assert AddressView.objects.count() == 2


def test_nobody_else_prints_it_and_no_token_that_only_reads(
    packed: Packed, donor: Grower, recipient_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    reader = caller(donor, "read")
    for api, status in ((nobody, 401), (outsider_api, 404), (recipient_api, 409), (reader, 403)):
        refused = api.get(address_path(packed))
        assert refused.status == status
        assert b"Xanadu" not in refused.response.content
    assert not AddressView.objects.exists()


def test_it_waits_after_a_change_as_the_address_does(
    packed: Packed, recipient: Grower, donor_api: Caller
) -> None:
    address_set(actor=recipient, town="Elsewhere")
    refused = donor_api.get(address_path(packed))
    assert (refused.status, refused.code, refused.faults) == (409, "conflict", {"": "not_yet"})
    assert not AddressView.objects.exists()
