"""A quiet ask as the sentence that the plant's owner reads."""

from django.utils.translation import gettext as _

from exchange.wording.region import region_words
from growers.selectors.site import Region


def quiet_ask_sentence(plant: str, where: Region) -> str:
    """What somebody in a region would like; nobody has promised them anything, nor told them of the plant."""
    return _(
        "Someone in this region: {region}, would like pollen of your {plant}. They do not know of it unless"
        " you say yes."
    ).format(region=region_words(where), plant=plant)
