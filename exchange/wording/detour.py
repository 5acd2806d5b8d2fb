"""What growers read of a way through a steward: never leave to send, always both numbers of a refusal."""

from datetime import date

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

CAUTION: str | Promise = gettext_lazy(
    "The steward says that they hold a permit; nobody here has checked it, and nothing here is permission."
    " Ask your plant-health authority whether pollen may come to you in this way."
)


def below_wanted(chance: float, least: float) -> str:
    """Too little for what the wanted cross asks for."""
    return _(
        "By way of the steward each flower has a chance of {chance} in 100; the wanted cross asks for at"
        " least {least} in 100."
    ).format(chance=_in_100(chance), least=_in_100(least))


def below_named(chance: float, least: float) -> str:
    """Too little for what the donor named."""
    return _(
        "By way of the steward each flower has a chance of {chance} in 100; the donor named at least {least}"
        " in 100 for this packet."
    ).format(chance=_in_100(chance), least=_in_100(least))


def no_day_works() -> str:
    """No day of posting reaches the steward in time and the flowers alive."""
    return _(
        "By way of this gathering no day of posting works: none reaches the steward in their days and then an"
        " open flower with living pollen."
    )


def days_missed(half_on: date, reach_from: date, reach_until: date) -> str:
    """The parcel would not come in the steward's days."""
    return _(
        "Half of such parcels come to the steward by {half_on}; parcels must reach them from {first} to"
        " {last}."
    ).format(half_on=half_on, first=reach_from, last=reach_until)


def _in_100(chance: float) -> str:
    return f"{100.0 * chance:.3g}"
