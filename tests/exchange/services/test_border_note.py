"""Border notes: proposed by who asked, confirmed by a coordinator, heeded by the next run, told to both."""

from typing import Any

import pytest

from exchange.models import BorderNote, Notification, Pairing
from exchange.selectors.border import border_notes
from exchange.selectors.pairing import pairings_for, pairings_of
from exchange.services.border_note import (
    MOST_PROPOSED,
    border_note_confirm,
    border_note_create,
    border_note_propose,
    border_note_refuse,
)
from exchange.services.coordinator import coordinator_grant
from exchange.services.rescoring import rescore
from exchange.wording.notification import notification_sentence
from growers import clock as project_clock
from growers.errors import Conflict, NotFound
from growers.models import Change, Grower, Site
from tests.clock import MovableClock
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON, TODAY, make_society
from tests.factories import make_grower, make_offer, make_plant, make_taxon

pytestmark = pytest.mark.django_db

FORBIDS = "From FR to DE a note on file forbids it: pollen may not come in"
FORBIDS_SOMEWHERE = (
    "Across a border to a country that is not shown yet, a note on file forbids it. The recipient's authority"
    " decides, not this note."
)


@pytest.fixture
def coordinator(db: None, clock: MovableClock) -> Grower:
    clock.set(NOON)
    return coordinator_grant(handle=make_grower("weir").handle)


def propose_note(actor: Grower, **changes: Any) -> BorderNote:
    stated: dict[str, Any] = {
        "kind": "forbidden",
        "origin": "FR",
        "destination": "DE",
        "text": "pollen may not come in",
        "source": "a letter",
        "asked_whom": "an office",
        "checked_on": TODAY,
        **changes,
    }
    return border_note_propose(actor=actor, **stated)


def run() -> list[str]:
    """A run at this hour; the states of all pairings."""
    rescore(now=project_clock.now())
    return list(Pairing.objects.order_by("pk").values_list("state", flat=True))


# --- from the proposal to what both growers read ---


def test_a_confirmed_note_that_forbids_takes_the_pairing_and_both_read_why(
    coordinator: Grower, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    make_society(donor, recipient)
    assert run() == ["suggested"]
    note = propose_note(outsider)
    assert run() == ["suggested"]
    border_note_confirm(actor=coordinator, note=note)
    assert run() == ["superseded"]
    told = Notification.objects.filter(kind="pairing_withdrawn").select_related("pairing")
    assert {row.grower for row in told} == {donor, recipient}
    for row in told:
        assert notification_sentence(row).endswith(f"no longer proposed. {FORBIDS_SOMEWHERE}")
    # Where the other's region tells the country, the note is told whole.
    Site.objects.update(region_level="country")
    for grower in (donor, recipient):
        (seen,) = pairings_for(grower, pairings_of(grower))
        assert seen.withdrawn_because is not None
        assert seen.withdrawn_because.detail.startswith(FORBIDS)
        assert FORBIDS in notification_sentence(told.get(grower=grower))
        assert "outsider" not in repr(seen)


def test_a_note_taken_back_or_expired_lets_it_be_proposed_again(
    coordinator: Grower, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    make_society(donor, recipient)
    note = propose_note(donor, expires_on=TODAY)
    border_note_confirm(actor=coordinator, note=note)
    assert run() == []
    clock.move(days=1)
    assert run() == ["suggested"]
    other = propose_note(donor)
    border_note_confirm(actor=coordinator, note=other)
    assert run() == ["superseded"]
    border_note_refuse(actor=coordinator, note=other)
    assert run() == ["superseded", "suggested"]


def test_only_a_decision_that_counts_is_announced(coordinator: Grower, donor: Grower) -> None:
    lily, offer = make_taxon(name="Nymphaea announced"), make_offer(make_plant(donor))
    Change.objects.all().delete()
    of_taxon, of_any = propose_note(donor, taxon=lily), propose_note(donor)
    refused_one = propose_note(donor)
    border_note_refuse(actor=coordinator, note=refused_one)
    assert not Change.objects.exists()
    border_note_confirm(actor=coordinator, note=of_taxon)
    border_note_confirm(actor=coordinator, note=of_any)
    border_note_confirm(actor=coordinator, note=of_any)
    noted = list(Change.objects.order_by("pk").values_list("kind", "subject_id"))
    assert noted == [("taxon", lily.pk), ("offer", offer.pk)]


# --- who may do what ---


def test_only_a_coordinator_decides_and_once_for_good(
    coordinator: Grower, donor: Grower, recipient: Grower
) -> None:
    note = propose_note(donor)
    for actor in (donor, recipient):
        refused(lambda a=actor: border_note_confirm(actor=a, note=note), NotFound)  # type: ignore[misc]
        refused(lambda a=actor: border_note_refuse(actor=a, note=note), NotFound)  # type: ignore[misc]
    assert border_notes(TODAY).notes == ()
    confirmed = border_note_confirm(actor=coordinator, note=note)
    assert (confirmed.state, confirmed.decided_by) == ("confirmed", coordinator)
    assert border_notes(TODAY).notes == (note,)
    assert border_note_refuse(actor=coordinator, note=note).state == "refused"
    assert border_notes(TODAY).notes == ()
    error = refused(lambda: border_note_confirm(actor=coordinator, note=note), Conflict)
    assert error.detail == "The note is refused and cannot become confirmed; allowed: nothing: it is over."


# --- what a note must say ---


def test_what_a_proposal_lacks_is_said_at_once(coordinator: Grower, donor: Grower) -> None:
    wrong = {
        "source": "",
        "asked_whom": "",
        "destination": "XX",
        "checked_on": TODAY.replace(year=2026),
    }
    found = problems(lambda: propose_note(donor, **wrong, expires_on=TODAY.replace(year=2020)))
    assert found == {
        "/source": "source is missing; allowed: 1 to 300 characters.",
        "/destination": "destination is 'XX'; allowed: an ISO 3166 code of two capital letters such as FR.",
        "/expires_on": "expires_on is 2020-07-01; allowed: 2026-07-01, the day it was checked, or later.",
        "/asked_whom": "Say whom you asked: an authority, an office.",
    }


def test_a_check_of_more_than_a_year_ago_or_of_tomorrow_is_no_news(
    coordinator: Grower, donor: Grower
) -> None:
    late = problems(lambda: propose_note(donor, checked_on=TODAY.replace(month=7, day=2)))
    assert late == {"/checked_on": "checked_on is 2027-07-02; allowed: a day up to today, 2027-07-01."}
    old = problems(lambda: propose_note(donor, checked_on=TODAY.replace(year=2026, month=6, day=30)))
    assert old == {
        "/checked_on": "checked_on is 2026-06-30; allowed: 2026-07-01 or later; what is older counts as"
        " unknown."
    }


@pytest.mark.parametrize(
    ("name", "words", "found"),
    [
        ("text", "Pollen is ALLOWED.", "ALLOWED"),
        ("text", "cleared by the office", "cleared"),
        ("source", "they said ok", "ok"),
        ("text", "✓", "✓"),
        ("text", "has the green light", "green"),
    ],
)
def test_a_note_never_reads_as_leave_to_send(
    coordinator: Grower, donor: Grower, name: str, words: str, found: str
) -> None:
    sentence = f"{name} says {found!r}, as if to permit it; say what is forbidden or asked for."
    assert problems(lambda: propose_note(donor, **{name: words})) == {f"/{name}": sentence}
    society = {"kind": "conditions", "destination": "DE", "text": "x", "source": "y", "checked_on": TODAY}
    assert problems(lambda: border_note_create(**{**society, name: words})) == {f"/{name}": sentence}  # type: ignore[arg-type]


def test_words_that_only_hold_such_letters_may_stand(coordinator: Grower, donor: Grower) -> None:
    assert propose_note(donor, text="by ticket from Greenland, book in advance").pk


def test_too_many_waiting_proposals_are_refused(coordinator: Grower, donor: Grower) -> None:
    waiting = [propose_note(donor) for _ in range(MOST_PROPOSED)]
    refused(lambda: propose_note(donor), Conflict)
    border_note_refuse(actor=coordinator, note=waiting[0])
    assert propose_note(donor).state == "proposed"
