"""What growers want to be written about: chosen in settings, or by the link of a message."""

from functools import partial

import pytest
from django.core import signing

from exchange.models import MailChoice
from exchange.services.account import account_close
from exchange.services.mail_choice import mail_choice_update, mail_stop, night_answer
from exchange.services.mail_link import STOP, link_read, links_for
from growers.errors import NotFound
from growers.models import Grower
from tests.exchange.refusal import problems, refused

pytestmark = pytest.mark.django_db


def token(link: str) -> str:
    return link.rsplit("/", 1)[1]


def declined(grower: Grower) -> list[str]:
    return list(MailChoice.objects.get(grower=grower).declined)


def test_kinds_are_declined_and_taken_back(donor: Grower, recipient: Grower) -> None:
    assert mail_choice_update(actor=donor, declined=["posting", "daily", "daily"]).declined == [
        "daily",
        "posting",
    ]
    assert mail_choice_update(actor=donor, night_calls=True).night_asked_at is not None
    assert mail_choice_update(actor=donor, declined=[]).night_calls is True
    assert declined(donor) == []
    assert not MailChoice.objects.filter(grower=recipient).exists()


def test_an_unknown_kind_is_refused(donor: Grower) -> None:
    found = problems(partial(mail_choice_update, actor=donor, declined=["daily", "weekly"]))
    assert found == {"/declined": "declined is 'weekly'; allowed: daily, posting, warning."}


def test_the_link_of_a_message_stops_its_kind_once_for_all(donor: Grower, recipient: Grower) -> None:
    links = {kind: token(links_for(donor, kind).stop) for kind in ("daily", "warning")}
    for kind in ("daily", "daily", "warning"):
        assert mail_stop(token=links[kind]) == kind
    assert declined(donor) == ["daily", "warning"]
    assert not MailChoice.objects.filter(grower=recipient).exists()


def test_the_answer_about_nights_is_kept(donor: Grower) -> None:
    link = token(links_for(donor, "daily", asks_night=True).night)
    for answer in (True, False):
        night_answer(token=link, night_calls=answer)
        assert MailChoice.objects.get(grower=donor).night_calls is answer


def test_a_link_is_good_for_what_it_was_made_for_alone(donor: Grower) -> None:
    links = links_for(donor, "daily", asks_night=True)
    stop, night = token(links.stop), token(links.night)
    for bad in (
        night,
        stop[:-1],
        f"{stop}x",
        "",
        "a:b:c",
        signing.Signer(salt=STOP).sign_object(["no-id", "daily"]),
    ):
        refused(partial(mail_stop, token=bad), NotFound)
    refused(partial(night_answer, token=stop, night_calls=True), NotFound)


def test_a_link_names_no_address_and_ends_with_the_account(donor: Grower) -> None:
    link = links_for(donor, "daily").stop
    assert str(donor.email) not in str(signing.Signer(salt=STOP).unsign_object(token(link)))
    account_close(actor=donor)
    assert link_read(token(link), STOP) is None
