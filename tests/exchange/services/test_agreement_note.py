"""Notes beside an agreement: told once, plain, without links before both have said yes, reportable."""

import pytest

from exchange.models import AgreementEvent, AgreementNote, Notification
from exchange.services.agreement_change import agreement_withdraw
from exchange.services.agreement_note import MOST_NOTES_A_DAY, note_report, note_write
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, accept, agree, make_bargain, propose
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def test_a_note_tells_the_other_once_and_its_text_stands_nowhere_else(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    agreement = propose(bargain.pairing)
    note = note_write(actor=donor, agreement=agreement, text="  It opens at eight.\r\nMonday?\n")
    assert (note.author, note.text) == (donor, "It opens at eight.\nMonday?")
    event = AgreementEvent.objects.get(kind="note_written")
    assert (event.actor, event.parameters) == (donor, {})
    assert [row.grower for row in Notification.objects.filter(event=event)] == [recipient]


def test_to_an_outsider_there_is_nothing_to_write_to(bargain: Bargain, outsider: Grower) -> None:
    agreement = propose(bargain.pairing)
    refused(lambda: note_write(actor=outsider, agreement=agreement, text="hello"), NotFound)


def test_what_has_ended_or_run_out_takes_no_note(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock
) -> None:
    ended, single = agree(bargain.pairing), propose(bargain.wanted_by(outsider))
    agreement_withdraw(actor=recipient, agreement=ended)
    error = refused(lambda: note_write(actor=donor, agreement=ended, text="why?"), Conflict)
    assert error.detail == "The agreement is ended; its notes stay readable, none can be added."
    clock.move(days=11)
    error = refused(lambda: note_write(actor=donor, agreement=single, text="well?"), Conflict)
    assert error.detail == "The agreement is lapsed; its notes stay readable, none can be added."


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "text is missing; allowed: 1 to 1000 characters."),
        (" \n ", "text is missing; allowed: 1 to 1000 characters."),
        ("a\x07b", "text is 'a\\x07b'; allowed: text without control or invisible characters."),
        (
            "right to \u202eleft",
            "text is 'right to \\u202eleft'; allowed: text without control or invisible characters.",
        ),
        ("one\ttwo", "text is 'one\\ttwo'; allowed: text without control or invisible characters."),
    ],
)
def test_an_empty_text_or_control_characters_are_refused(
    bargain: Bargain, donor: Grower, text: str, sentence: str
) -> None:
    agreement = agree(bargain.pairing)
    assert problems(lambda: note_write(actor=donor, agreement=agreement, text=text)) == {"/text": sentence}


def test_a_note_is_a_note_and_no_letter(bargain: Bargain, donor: Grower) -> None:
    agreement = agree(bargain.pairing)
    assert list(problems(lambda: note_write(actor=donor, agreement=agreement, text="x" * 1001))) == ["/text"]
    assert note_write(actor=donor, agreement=agreement, text="x" * 1000).pk


LINKS = [
    ("see http://pond", "http:"),
    ("HTTPS://POND", "HTTPS:"),
    ("www.pond", "www."),
    ("look at pond.example", "pond.example"),
    ("pond.example/lily", "pond.example"),
    ("me@pond", "@"),
    ("p＠pond", "@"),
    ("pond。example", "pond.example"),
    ("pond．example", "pond.example"),
    ("pond.\u200dexample", "pond.example"),
    ("teich.städte", "teich.städte"),
]


@pytest.mark.parametrize(("text", "found"), LINKS)
def test_nothing_leads_out_before_both_have_said_yes(
    bargain: Bargain, donor: Grower, text: str, found: str
) -> None:
    agreement = propose(bargain.pairing)
    assert problems(lambda: note_write(actor=donor, agreement=agreement, text=text)) == {
        "/text": f"text holds {found!r}, which reads as a link or an e-mail address; none before both have"
        " said yes. After a full stop write a space."
    }
    accept(agreement)
    assert note_write(actor=donor, agreement=agreement, text=text).text == text


@pytest.mark.parametrize(
    "text",
    ["It opens. Then I net it.", "about 3.5 cm, 7.30 to 9.15", "e.g. N. odorata, i.e. hardy", "…and so on"],
)
def test_plain_talk_is_no_link(bargain: Bargain, donor: Grower, text: str) -> None:
    assert note_write(actor=donor, agreement=propose(bargain.pairing), text=text).text == text


def test_a_day_has_room_for_so_many_notes_of_each(
    bargain: Bargain, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    agreement = agree(bargain.pairing)
    for count in range(MOST_NOTES_A_DAY):
        note_write(actor=donor, agreement=agreement, text=f"note {count}")
    error = refused(lambda: note_write(actor=donor, agreement=agreement, text="more"), Conflict)
    assert error.detail == "You have written 20 notes here in a day; write on tomorrow."
    assert note_write(actor=recipient, agreement=agreement, text="well, well").pk
    clock.move(days=1, seconds=5)
    assert note_write(actor=donor, agreement=agreement, text="good morning").pk


# --- reports ---


def test_the_other_reports_once_and_the_first_reason_stays(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    note = note_write(actor=donor, agreement=agree(bargain.pairing), text="Send it or else.")
    told = Notification.objects.count()
    refused(lambda: note_report(actor=outsider, note=note, reason="a threat"), NotFound)
    own = refused(lambda: note_report(actor=donor, note=note, reason="a threat"), Conflict)
    assert own.detail == "This is your own note; the other can report it."
    assert problems(lambda: note_report(actor=recipient, note=note, reason=" ")) == {
        "/reason": "reason is missing; allowed: why the coordinators should read it."
    }
    for reason in ("a threat", "changed my mind"):
        note_report(actor=recipient, note=note, reason=reason)
    note = AgreementNote.objects.get()
    assert (note.reported_by, note.report_reason, note.text) == (recipient, "a threat", "Send it or else.")
    assert Notification.objects.count() == told
