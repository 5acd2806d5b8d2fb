"""One POST of every operation on gatherings and detours; see :mod:`tests.api.every_post`."""

from exchange.services.address import address_set
from tests.api.caller import caller
from tests.api.every_post import Post, Stage, prepares
from tests.exchange.gathered import Gathered, make_gathered, make_gathering
from tests.exchange.services.test_address import HOME
from tests.factories import make_site


def gathered(stage: Stage) -> Gathered:
    """The outsider is the steward."""
    return make_gathered(stage.donor, stage.recipient, stage.outsider)


def detour(made: Gathered, act: str) -> str:
    return f"agreements/{made.agreement.public_id}/{act}"


@prepares
def gathering_create(stage: Stage) -> Post:
    body = {
        "site_id": str(make_site(stage.donor).public_id),
        "reach_from": "2027-07-05",
        "reach_until": "2027-07-31",
        "handling_days": 3,
        "permit_number": "4711",
        "permit_valid_until": "2027-12-31",
    }
    return Post(caller(stage.donor), "gatherings", body, {**body, "handling_days": 2})


@prepares
def gathering_close(stage: Stage) -> Post:
    return Post(caller(stage.donor), f"gatherings/{make_gathering(stage.donor).public_id}/close")


@prepares
def gathering_call_off(stage: Stage) -> Post:
    return Post(caller(stage.donor), f"gatherings/{make_gathering(stage.donor).public_id}/call-off")


@prepares
def detour_ask(stage: Stage) -> Post:
    made = gathered(stage)
    other = make_gathering(stage.outsider, site=made.gathering.site)
    bodies = [{"gathering_id": str(each.public_id)} for each in (made.gathering, other)]
    return Post(caller(stage.recipient), detour(made, "detour"), *bodies)


@prepares
def detour_yes(stage: Stage) -> Post:
    made = gathered(stage)
    made.ask()
    return Post(caller(stage.donor), detour(made, "detour-yes"), {"least_chance": 0.0001}, {})


@prepares
def detour_accept(stage: Stage) -> Post:
    made = gathered(stage)
    made.ask()
    made.yes()
    return Post(caller(stage.outsider), detour(made, "detour-accept"))


@prepares
def detour_decline(stage: Stage) -> Post:
    made = gathered(stage)
    made.ask()
    return Post(caller(stage.donor), detour(made, "detour-decline"))


@prepares
def detour_withdraw(stage: Stage) -> Post:
    made = gathered(stage)
    made.ask()
    return Post(caller(stage.recipient), detour(made, "detour-withdraw"))


@prepares
def detour_address_read(stage: Stage) -> Post:
    made = gathered(stage)
    made.agree()
    address_set(actor=stage.outsider, **HOME)
    return Post(caller(stage.donor), detour(made, "detour-address"))
