"""What a counted germination test tells its grower: code and parameters become a sentence."""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

SENTENCES: Mapping[str, str | Promise] = {
    "rehydration_not_stated": _(
        "Was this pollen left in humid air before the test? Dried or frozen pollen that was not can look dead"
        " and be alive."
    ),
    "rehydrate_first": _(
        "This pollen was not left in humid air before the test, so it can look dead and be alive. Leave some"
        " in humid air, then test again."
    ),
    "replicate_alone": _(
        "One sample alone cannot show whether the count can be relied on. Count a second one, from other"
        " anthers."
    ),
    "replicates_disagree": _(
        "The samples differ by {range_percent:.1f} points of per cent; chance alone seldom reaches"
        " {tolerated_percent:.1f}."
    ),
    "count_again": _(
        "First count the same samples again, if they still show it, without looking at the first counts."
    ),
    "another_replicate": _("If they still differ, count another sample, from other anthers."),
    "prepare_anew": _(
        "If they still differ, do not add more samples: mix the pollen, prepare all of them anew, and put"
        " this count aside."
    ),
    "nothing_germinated": _(
        "None of {counted} grains germinated. That does not show that all are dead: up to {high_percent:.1f}"
        " in 100 may germinate."
    ),
    "all_germinated": _(
        "All of {counted} grains germinated. That does not show that all would: it may be as few as"
        " {low_percent:.1f} in 100."
    ),
    "nothing_stained": _(
        "None of {counted} grains took the stain; up to {high_percent:.1f} in 100 may. Check that the stain"
        " works on pollen known to take it."
    ),
    "all_stained": _(
        "All of {counted} grains took the stain; it may be as few as {low_percent:.1f} in 100 of the lot."
    ),
    "too_few_grains": _(
        "Only {counted} grains were counted. We advise {replicates} samples of {grains_per_replicate} grains"
        " or more, from different anthers."
    ),
    "enough_grains": _("Enough were counted: the share is known to {half_width_percent:g} points or better."),
    "more_grains": _(
        "To know the share to {half_width_percent:g} points either way: {more} more grains if each were"
        " independent; about {more_clumped} more in samples like these, because grains clump."
    ),
    "clumping_assumed": _(
        "Grains on one sample resemble each other, so these {counted} count as about {effective_grains:.0f}"
        " independent ones. How much they do is our guess (correlation {correlation:g})."
    ),
    "clumping_observed": _(
        "The samples differ more than chance explains, so these {counted} grains count as about"
        " {effective_grains:.0f} independent ones."
    ),
    "stain_upper_bound": _(
        "A stain shows filled grains. Fewer germinate, often far fewer: take this as the most that could."
    ),
    "same_way_only": _(
        "Compare it only with tests done the same way: {method_words}, {medium}; a grain counts when: {rule}."
    ),
}
METHODS: Mapping[str, str | Promise] = {
    "in_vitro": _("on a prepared medium"),
    "stigmatic_fluid": _("in fluid of a first-day flower"),
    "stain": _("stained"),
}


def germination_sentence(code: str, parameters: Mapping[str, object]) -> str:
    """The sentence of a piece of advice.

    Raises
    ------
    KeyError
        If the code is not known or a parameter is missing.
    """
    method = {"method_words": str(METHODS[str(parameters["method"])])} if "method" in parameters else {}
    return str(SENTENCES[code]).format_map({**parameters, **method})
