"""What each of the two reads of an agreement: kind, to the point, and no more than they may know."""

import pytest

from exchange.models import Agreement, AgreementEvent
from exchange.wording.agreement import (
    FROM_OTHER,
    ON_A_LEG,
    OWN,
    REASONS,
    TO_STEWARD,
    doses_words,
    event_sentence,
    other_words,
    own_event_sentence,
    reason_sentence,
)
from growers.models import Grower, Site
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, accept, agree, make_bargain, propose
from tests.exchange.society import NOON
from tests.exchange.wording.plain import API_WORDS

pytestmark = pytest.mark.django_db

Kind = AgreementEvent.Kind
BY_TIME = {Kind.LAPSED, Kind.NEXT_DONOR_SHOWN, Kind.DONOR_SILENT, Kind.HAS_IT_COME, Kind.BUD_CALL}
PARAMETERS = {"doses": 1, "before": 3, "reason": "not_in_bloom", "side": "donor", "pairing_id": None}
SECRETS = ("recipient", "seed of", "Germany", "DE", "48.", "11.")
WHERE = "Someone in this region: Europe, northern temperate"

TO_DONOR = {
    Kind.PROPOSED: f"{WHERE} says yes to 1 dose of 'Ferry'. Now it is your turn.",
    Kind.DECLINED: "About 'Ferry': not this time. The plant is not going to flower in time.",
    Kind.ENDED: "About 'Ferry': the agreement has ended. The plant is not going to flower in time.",
    Kind.STATEMENT_MADE: f"{WHERE} has stated their side of the papers for 'Ferry'.",
    Kind.NOTE_WRITTEN: f"{WHERE} has written you a note about 'Ferry'.",
}
"""What can happen before both have said yes."""

TO_RECIPIENT = {
    Kind.AGREED: "donor said yes too: 1 dose of 'Ferry' reserved.",
    Kind.SENT_LESS: "donor can send 1 dose of 'Ferry' instead of 3.",
    Kind.CAME_UP_SHORT: "The flowers of 'Ferry' gave less pollen than expected: 1 dose instead of 3 for you,"
    " by the order in which it was agreed.",
    Kind.COLLECTED: "donor has collected 'Ferry'; 1 dose for you.",
    Kind.SENT: "donor has handed over 1 dose of 'Ferry'.",
}


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def event(agreement: Agreement, kind: str, **parameters: object) -> AgreementEvent:
    return AgreementEvent(agreement=agreement, kind=kind, parameters={**PARAMETERS, **parameters})


@pytest.mark.parametrize("kind", TO_DONOR)
def test_before_both_have_said_yes_the_donor_reads_a_region(
    bargain: Bargain, donor: Grower, kind: AgreementEvent.Kind
) -> None:
    assert event_sentence(event(propose(bargain.pairing), kind), donor) == TO_DONOR[kind]


@pytest.mark.parametrize("kind", Kind.values)
def test_no_sentence_tells_the_donor_more_than_the_region_before(
    bargain: Bargain, donor: Grower, kind: str
) -> None:
    agreement = propose(bargain.pairing)
    words = event_sentence(event(agreement, kind), donor)
    assert [secret for secret in SECRETS if secret in words] == []


@pytest.mark.parametrize("kind", TO_RECIPIENT)
def test_the_recipient_knows_who_gives(
    bargain: Bargain, recipient: Grower, kind: AgreementEvent.Kind
) -> None:
    assert event_sentence(event(agree(bargain.pairing), kind), recipient) == TO_RECIPIENT[kind]


def test_after_the_second_yes_the_donor_reads_the_handle(bargain: Bargain, donor: Grower) -> None:
    agreement = propose(bargain.pairing)
    assert other_words(agreement, donor) == WHERE
    agreement = accept(agreement)
    assert other_words(agreement, donor) == "recipient"
    assert event_sentence(event(agreement, Kind.STATEMENT_MADE), donor) == (
        "recipient has stated their side of the papers for 'Ferry'."
    )


@pytest.mark.parametrize(
    ("level", "where"),
    [
        ("climate_band", "Europe, northern temperate"),
        ("country", "Germany"),
        ("cell", "Germany, near 48.25°, 11.75°"),
    ],
)
def test_the_region_is_as_fine_as_its_grower_lets_it_be(
    bargain: Bargain, donor: Grower, recipient: Grower, level: str, where: str
) -> None:
    Site.objects.filter(grower=recipient).update(region_level=level)
    agreement = Agreement.objects.get(pk=propose(bargain.pairing).pk)
    assert other_words(agreement, donor) == f"Someone in this region: {where}"


def test_who_gets_nothing_reads_that_it_has_ended_and_is_nobodys_fault(
    bargain: Bargain, recipient: Grower
) -> None:
    nothing = event(agree(bargain.pairing), Kind.CAME_UP_SHORT, doses=0, reason="came_up_short")
    assert event_sentence(nothing, recipient) == (
        "About 'Ferry': the agreement has ended. The flowers gave less pollen than expected, and none was"
        " left for this agreement; it is nobody's fault."
    )


# --- completeness ---


def test_every_kind_and_every_reason_has_words() -> None:
    assert set(FROM_OTHER) == set(Kind)
    assert set(OWN) == set(Kind) - BY_TIME
    assert set(REASONS) == set(Agreement.EndReason)


@pytest.mark.parametrize("kind", Kind.values)
def test_every_sentence_can_be_said_and_is_plain(bargain: Bargain, donor: Grower, kind: str) -> None:
    made = event(agree(bargain.pairing), kind)
    tellers = [event_sentence] if kind in BY_TIME else [event_sentence, own_event_sentence]
    for words in (tell(made, donor) for tell in tellers):
        assert words.endswith(".")
        assert "{" not in words
        assert not API_WORDS.search(words)


@pytest.mark.parametrize("kind", Kind.values)
def test_a_steward_reads_what_is_said_to_them_and_no_handle(
    bargain: Bargain, outsider: Grower, kind: str
) -> None:
    made = event(agree(bargain.pairing), kind, leg="inland", condition="damp")
    if kind not in TO_STEWARD:
        with pytest.raises(KeyError):
            event_sentence(made, outsider)
        return
    words = event_sentence(made, outsider)
    assert words.endswith(".")
    assert [word for word in ("{", "donor ", "recipient ", "seed of") if words.startswith(word)] == []
    assert not API_WORDS.search(words)


@pytest.mark.parametrize(("kind", "leg"), ON_A_LEG)
def test_what_happens_on_a_leg_can_be_said(bargain: Bargain, recipient: Grower, kind: str, leg: str) -> None:
    words = event_sentence(event(agree(bargain.pairing), kind, leg=leg), recipient)
    assert "steward" in words and "{" not in words
    assert not API_WORDS.search(words)


def test_a_living_agreement_has_no_reason_and_doses_are_counted_in_words() -> None:
    assert reason_sentence("") == ""
    assert (doses_words(1), doses_words(3)) == ("1 dose", "3 doses")
