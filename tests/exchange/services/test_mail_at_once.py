"""What cannot wait for the daily message: last days to post, bud calls, harm; quiet hours are kept."""

from datetime import date, time
from typing import Any

import pytest

from exchange.models import CustodyEvent, MailChoice, MailMessage
from exchange.services.bud_call import bud_calls_make
from exchange.services.collection import offer_collect
from exchange.services.custody import custody_note
from exchange.services.incident import WhatHappened, lot_incident
from exchange.services.lot_tell import custody_tell
from growers import clock as project_clock
from growers.models import Grower
from growers.services.bloom import bloom_bud_seen
from growers.services.grower import grower_update
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain
from tests.exchange.mailing import (
    all_is_read,
    at,
    decline,
    make_written_to,
    planned,
    sent,
    states,
    subjects,
    sweep,
    sweep_at,
)
from tests.exchange.society import NOON, TODAY

pytestmark = pytest.mark.django_db

NIGHT: dict[str, Any] = {"quiet_from": time(22), "quiet_until": time(7)}


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_written_to(donor, recipient, outsider)


# --- days to post that cannot wait ---


def test_a_last_day_is_told_by_the_daily_message_before_it_and_not_again(
    bargain: Bargain, clock: MovableClock
) -> None:
    sweep_at(clock, "14 14:59")
    assert sent(bargain.donor) == []
    for hour in ("14 15:00", "14 15:01", "15 05:00", "15 15:00", "16 05:00"):
        sweep_at(clock, hour)
    assert subjects(bargain.donor) == [
        "Tomorrow, Thursday 15 July: Post not later than this day: pollen of 'Ferry'"
    ]
    assert "Tomorrow, Thursday 15 July\n- Post not later than this day: pollen of 'Ferry'. 2 doses." in str(
        sent(bargain.donor)[0].body
    )


def test_one_that_comes_up_later_is_told_at_once(bargain: Bargain, clock: MovableClock) -> None:
    sweep_at(clock, "07 15:00")
    clock.set(at("07 18:00"))
    planned(bargain, not_later_than=date(2027, 7, 8))
    sweep()
    sweep()
    assert subjects(bargain.donor)[1:] == [
        "Tomorrow, Thursday 8 July: Post not later than this day: pollen of 'Ferry'"
    ]
    body = str(sent(bargain.donor)[1].body)
    assert "What decides this date" in body
    assert "messages about days to post" in body
    # Moved to another day it is told anew; gone back to the same one it is not.
    planned(bargain, not_later_than=date(2027, 7, 9))
    sweep_at(clock, "08 16:00")
    assert subjects(bargain.donor)[2:] == [
        "Tomorrow, Friday 9 July: Post not later than this day: pollen of 'Ferry'"
    ]


@pytest.mark.parametrize(
    ("night_calls", "told_at"), [(None, "08 05:00"), (False, "08 05:00"), (True, "07 22:00")]
)
def test_in_quiet_hours_it_waits_unless_the_grower_said_otherwise(
    bargain: Bargain, clock: MovableClock, night_calls: bool | None, told_at: str
) -> None:
    grower_update(actor=bargain.donor, **NIGHT)
    MailChoice.objects.create(grower=bargain.donor, night_calls=night_calls)
    sweep_at(clock, "07 15:00")
    planned(bargain, not_later_than=date(2027, 7, 8))
    seen = []
    for hour in ("07 22:00", "08 04:59", "08 05:00", "08 06:00"):
        before = len(sent(bargain.donor))
        sweep_at(clock, hour)
        seen += [hour] * (len(sent(bargain.donor)) - before)
    assert seen == [told_at]


def test_a_last_day_inside_quiet_hours_is_told_before_them(bargain: Bargain, clock: MovableClock) -> None:
    """Of a grower who works at night and sleeps over the hours of the post."""
    grower_update(actor=bargain.donor, quiet_from=time(7), quiet_until=time(23))
    sweep_at(clock, "14 04:29")
    assert sent(bargain.donor) == []
    sweep_at(clock, "14 04:30")  # 06:30 in Paris
    assert "Post not later than this day" in str(sent(bargain.donor)[0].body)


def test_when_the_day_is_over_nothing_is_said(bargain: Bargain, clock: MovableClock) -> None:
    decline(bargain.donor, "daily")
    grower_update(actor=bargain.donor, quiet_from=time(1), quiet_until=time(23, 59))
    clock.set(at("15 05:00"))
    MailMessage.objects.all().delete()
    sweep()
    sweep_at(clock, "15 22:01")  # 00:01 in Paris, of the next day
    assert sent(bargain.donor) == []
    assert states(bargain.donor)[-1] == ("posting", "nothing_to_say")


def test_whoever_declined_the_daily_message_is_told_of_last_days(
    bargain: Bargain, clock: MovableClock
) -> None:
    decline(bargain.donor, "daily")
    for hour in ("14 14:59", "14 15:00", "15 06:00"):
        sweep_at(clock, hour)
    assert subjects(bargain.donor) == [
        "Tomorrow, Thursday 15 July: Post not later than this day: pollen of 'Ferry'"
    ]
    decline(bargain.donor, "daily", "posting")
    planned(bargain, not_later_than=date(2027, 7, 16))
    sweep_at(clock, "15 15:00")
    assert len(sent(bargain.donor)) == 1


# --- events that cannot wait ---


def test_a_bud_call_is_told_at_once_and_not_in_the_daily_message(
    bargain: Bargain, recipient: Grower, clock: MovableClock
) -> None:
    offer_collect(actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator")
    seed_parent = bargain.pairing.wanted_cross.seed_parent
    bloom_bud_seen(actor=recipient, plant=seed_parent, seen_on=TODAY, bud_stage="at the surface")
    bud_calls_make(project_clock.now())
    sweep()
    sweep()
    assert subjects(bargain.donor) == ["To post soon: pollen of 'Ferry'"]
    assert "recipient sees a bud at the surface: post 'Ferry' on 2027-07-02" in str(
        sent(bargain.donor)[0].body
    )
    sweep_at(clock, "01 15:00")
    assert "sees a bud" not in "".join(str(message.body) for message in sent(bargain.donor)[1:])


@pytest.mark.parametrize(
    ("declined", "told"),
    [
        ([], ["Please read: about pollen of 'Ferry'"]),
        (["warning"], ["What has happened until 1 July"]),
        (["warning", "daily"], []),
    ],
)
def test_harm_is_told_at_once_or_by_the_daily_message_to_whoever_declined(
    bargain: Bargain,
    recipient: Grower,
    outsider: Grower,
    clock: MovableClock,
    declined: list[str],
    told: list[str],
) -> None:
    decline(recipient, *declined)
    lot = offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator"
    )
    all_is_read()
    lot_incident(actor=bargain.donor, lot=lot, happened=WhatHappened("left_out", hours=5))
    for hour in ("01 12:00", "01 12:01", "01 15:00", "02 15:00"):
        sweep_at(clock, hour)
    assert subjects(recipient) == told
    assert all("left out" in str(message.body) for message in sent(recipient))
    assert sent(outsider) == []


def test_a_test_is_news_and_what_makes_pollen_doubtful_is_a_warning(
    bargain: Bargain, recipient: Grower, clock: MovableClock
) -> None:
    lot = offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator"
    )
    all_is_read()
    for doubts in ([], ["frozen_undried"]):
        event = custody_note(
            lot,
            CustodyEvent.Kind.TEMPERATURE_READ,
            actor=bargain.donor,
            now=project_clock.now(),
            occurred_at=project_clock.now(),
            minimum_c=3.0,
            maximum_c=9.0,
            new_doubts=doubts,
        )
        custody_tell(event, [recipient])
        sweep()
        assert subjects(recipient) == ["Please read: about pollen of 'Ferry'"] * len(doubts)
    sweep_at(clock, "01 15:00")
    assert str(sent(recipient)[1].body).count("temperatures read") == 1
