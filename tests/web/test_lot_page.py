"""The public page of a lot: what it tells, to whom it is the same, and what it never tells."""

import re
from datetime import date
from html.parser import HTMLParser

import pytest
from django.conf import settings
from django.core.cache import cache
from django.http import HttpResponse
from django.test import Client

from exchange.models import Lot
from exchange.models.lot_code import ALPHABET, check_character, code_shown
from exchange.services.incident import WhatHappened, lot_incident
from exchange.services.lot import lot_collect
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.packed import make_packed
from tests.exchange.society import FRANCE, GERMANY, NOON
from tests.factories import make_offer_in_hand, make_plant, make_site

pytestmark = pytest.mark.django_db

TERMS = [{"code": "tell_result"}, {"code": "do_not_pass_on"}, {"code": "other", "text": "Ring the ferryman."}]


def page(code: str, **headers: str) -> HttpResponse:
    response = Client().get(f"/l/{code}", headers=headers)
    assert isinstance(response, HttpResponse)
    return response


def make_lot(grower: Grower, **site: object) -> Lot:
    plant = make_plant(grower, site=make_site(grower, **site), name_as_grown="'Ferry'")  # type: ignore[arg-type]
    return make_offer_in_hand(plant, date(2027, 6, 28), terms=TERMS).lots.get()


class Reader(HTMLParser):
    """Tags with their attributes, and the words of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.words.append(" ".join(data.split()))


def test_it_says_what_the_label_says(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    lot = make_lot(donor)
    lot.outlooks.update(best_before_at="2027-07-13T23:00:00Z", worth_trying_until_at="2028-05-02T10:00:00Z")
    response = page(lot.code)
    assert (response.status_code, response["Content-Type"]) == (200, "text/html; charset=utf-8")
    assert Reader(response.content.decode()).words == [
        f"{code_shown(lot.code)} 'Ferry'",
        "'Ferry'",
        "Water-lily pollen",
        "code",
        code_shown(lot.code),
        "collected",
        "28 June 2027",
        "treatment",
        "dried",
        "best before",
        "14 July 2027",  # in Paris
        "worth trying until",
        "about 2 May 2028",
        "These dates are estimates from what was recorded of this pollen, and unsure;"
        " a germination test of your own knows better.",
        "Terms",
        "Tell me what became of it, failures too.",
        "Do not pass the pollen on.",
        "And what its grower wrote in their own words: ask whoever gave you the packet.",
    ]


def test_the_hour_is_said_where_it_was_stated_and_no_date_is_made_up(
    donor: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    lot = lot_collect(
        actor=donor,
        plant=make_plant(donor, name_as_grown="<b>'Ferry' & co</b>"),
        flowers_emptied=1,
        collected_on=date(2027, 6, 30),
        collected_hour=0,
    )
    lot.outlooks.all().delete()
    html = page(lot.code).content.decode()
    words = Reader(html).words
    assert "30 June 2027, 0 h, on the clock of the place" in words
    assert words.count("not known") == 2 and "estimates" not in html and words[-2:] == ["Terms", "none"]
    assert "<b>" not in html and "<b>'Ferry' & co</b>" in words


def test_what_puts_it_in_doubt_comes_first(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    lot = make_lot(donor)
    lot_incident(actor=donor, lot=lot, happened=WhatHappened(kind="got_damp"))
    words = Reader(page(lot.code).content.decode()).words
    assert words[3:5] == [
        "Doubtful",
        "It got damp; wet pollen germinates or rots, and the curve says nothing of it.",
    ]


@pytest.mark.parametrize("written", ["{}", "{0[0]}{0[1]}{0[2]}{0[3]}-{0[4]}{0[5]}{0[6]}{0[7]}", " {} "])
def test_the_code_may_be_written_as_people_do(donor: Grower, clock: MovableClock, written: str) -> None:
    clock.set(NOON)
    lot = make_lot(donor)
    as_typed = written.format(lot.code).lower()
    assert page(as_typed).content == page(lot.code).content


def test_no_byte_depends_on_grower_site_or_region(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    one, other = make_lot(donor, **FRANCE), make_lot(recipient, **GERMANY)
    assert {lot.plant.site.cell_zone for lot in (one, other)} == {"Europe/Paris", "Europe/Berlin"}
    bodies = [page(lot.code).content.decode().replace(code_shown(lot.code), "CODE") for lot in (one, other)]
    assert bodies[0] == bodies[1]
    headers = [sorted(page(lot.code).items()) for lot in (one, other)]
    assert without_id(headers[0]) == without_id(headers[1])


def without_id(headers: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Headers but those that are of one request, or of one body."""
    return [each for each in headers if each[0] not in ("X-Request-Id", "ETag", "Content-Length")]


def test_nothing_else_of_the_deal_is_in_it(donor: Grower, recipient: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    packed = make_packed(donor, recipient)
    packed.hand_over()
    packed.receive()
    lot = packed.lot
    html = page(lot.code).content.decode().replace(code_shown(lot.code), "CODE")
    told = [
        donor.handle,
        recipient.handle,
        str(donor.email),
        "Europe",
        "France",
        "FR",
        "pond",
        "refrigerator",
    ]
    told += ["dose", str(lot.public_id), str(lot.plant.public_id), str(packed.packet.public_id)]
    assert lot.offer is not None
    told += [str(lot.offer.public_id), str(packed.agreement.public_id), "packet 1"]
    assert [text for text in told if re.search(rf"\b{re.escape(text)}", html)] == []


def test_whoever_asks_reads_the_same(
    donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    lot = make_lot(donor)
    answers = set()
    for grower in (None, donor, recipient, outsider):
        client = Client()
        if grower is not None:
            client.force_login(grower, backend=settings.AUTHENTICATION_BACKENDS[0])
        response = client.get(f"/l/{lot.code}")
        assert not response.cookies
        answers.add(response.content)
    assert len(answers) == 1


# --- codes that lead nowhere ---


def mistaken(code: str) -> str:
    """Another code, with one character changed."""
    return f"{code[:3]}{ALPHABET[(ALPHABET.index(code[3]) + 1) % 32]}{code[4:]}"


def test_a_wrong_code_is_told_what_may_be_wrong_and_shows_nobodys_lot(
    donor: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    code = make_lot(donor).code
    compare = ["Compare it with the label, character by character."]
    for written, sentence in (
        (mistaken(code), "One character is wrong, or two have changed places."),
        (code[:7], "A code has 8 characters; this one has 7."),
        (f"{code}0", "A code has 8 characters; this one has 9."),
        (f"{code[:7]}é", "A code holds letters from A to Z and digits only; something else is in this one."),
        ("<script>", "A code holds letters from A to Z and digits only; something else is in this one."),
    ):
        response = page(written)
        words = Reader(response.content.decode()).words
        assert response.status_code == 404, written
        assert words == ["There is no such code", "There is no such code", sentence, *compare]
        assert "Ferry" not in response.content.decode()


def test_any_two_neighbours_that_changed_places_are_told(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    code = make_lot(donor).code
    swapped = [f"{code[:n]}{code[n + 1]}{code[n]}{code[n + 2 :]}" for n in range(7) if code[n] != code[n + 1]]
    assert swapped
    for each in swapped:
        assert "two have changed places" in page(each).content.decode()


def test_a_code_that_nobody_has_is_like_any_other_address(db: None) -> None:
    unknown = f"ABCDEFG{check_character('ABCDEFG')}"
    here, nowhere = page(unknown), Client().get("/l/there/is/no/such/page")
    assert (here.status_code, here.content) == (404, nowhere.content)
    assert without_id(sorted(here.items())) == without_id(sorted(nowhere.items()))


# --- how it is sent ---


def test_it_is_kept_out_of_indexes_and_shared_caches(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    lot = make_lot(donor)
    for code in (lot.code, mistaken(lot.code)):
        response = page(code)
        assert (response["X-Robots-Tag"], response["Cache-Control"]) == ("noindex", "private, no-cache")
        assert "script-src 'self'" in response["Content-Security-Policy"]
    assert Client().post(f"/l/{lot.code}").status_code == 405


def test_it_has_a_language_a_title_headings_and_no_script_or_link(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    tags = Reader(page(make_lot(donor).code).content.decode()).tags
    names = [name for name, _ in tags]
    assert dict(tags)["html"] == {"lang": "en"}
    assert (names.count("title"), names.count("h1"), names.count("main")) == (1, 1, 1)
    assert names.count("dt") == names.count("dd") == 5
    assert {"script", "a", "form", "img", "style", "iframe"}.isdisjoint(names)
    assert {"content": "width=device-width, initial-scale=1", "name": "viewport"} in [at for _, at in tags]
    assert [at for _, at in tags if {"style", "onclick", "src"} & at.keys()] == []
    assert [at["href"] for _, at in tags if "href" in at] == ["/static/web/page.css"]
    sheet = Client().get("/static/web/page.css")
    assert (sheet.status_code, sheet["Content-Type"]) == (200, 'text/css; charset="utf-8"')
    style = b"".join(sheet.streaming_content)  # type: ignore[attr-defined]
    assert b"url(" not in style and b"@import" not in style


def test_a_network_that_asks_too_often_waits(
    donor: Grower, clock: MovableClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock.set(NOON)
    lot = make_lot(donor)
    monkeypatch.setattr(settings, "GUEST_REQUESTS_PER_MINUTE", 2)
    cache.clear()
    answers = [page(lot.code) for _ in range(3)]
    assert [each.status_code for each in answers] == [200, 200, 429]
    assert 1 <= int(answers[2]["Retry-After"]) <= 60
    assert b"Ferry" not in answers[2].content
    cache.clear()
