"""The catalogue: a stable code and its parameters become a sentence in the reader's language."""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

SENTENCES: Mapping[str, str | Promise] = {
    # why it may work
    "groups_on_record": _(
        "{seed_groups} as seed parent with pollen of {pollen_groups}: about {percent} in 100 pollinations"
        " take, as far as reports go (weight of {weight} pollinations; {source})."
    ),
    "groups_no_report": _(
        "{seed_groups} as seed parent with pollen of {pollen_groups}: no report found; {percent} in 100 is a"
        " guess of ours (weight of {weight} pollinations)."
    ),
    "poor_seed_parent": _("{plant} rarely sets seed, so its chance is a fifth ({source})."),
    "poor_pollen_parent": _("Pollen of {plant} is poor, so its chance is a fifth ({source})."),
    "hardy_in_hot_water": _(
        "Hardy water lilies hardly set seed in water of {water_c} °C; above {limit_c} °C we count {factor}."
    ),
    "different_chromosome_counts": _(
        "The parents' chromosome counts differ ({seed_count} and {pollen_count}); we count {factor}."
    ),
    # why it cannot
    "groups_refused": _(
        "{seed_groups} and {pollen_groups} belong to different plant orders; they cannot be crossed."
    ),
    "sterile_seed_parent": _("{plant} sets no seed ({source})."),
    "sterile_pollen_parent": _("{plant} has no working pollen ({source})."),
    "not_asked_for": _("{plant} is none of the pollen parents asked for."),
    "traits_missing": _("It is not recorded to have what is asked for: {traits}."),
    "country_not_shipped_to": _("The donor does not post to {country}."),
    "own_plant": _("Both plants are the same grower's: no post is needed."),
    "seed_parent_bloom_unknown": _(
        "When {plant} flowers is not known; say roughly when, and it can be planned."
    ),
    "pollen_parent_bloom_unknown": _(
        "When {plant} flowers is not known; once its grower says roughly when, it can be planned."
    ),
    "seed_parent_not_in_bloom_ahead": _("The seed parent is not expected to flower in the next {days} days."),
    "bloom_does_not_meet": _("No living pollen would meet an open flower in the next {days} days."),
    # cautions
    "offspring_ploidy_strong": _(
        "The offspring may be sterile: predicted chromosome count {counts}. The cross itself may still work."
    ),
    "offspring_ploidy_weak": _(
        "The parents' chromosome counts differ; predicted for the offspring: {counts}."
    ),
    "kinship_self": _("Both are the same clone: this is a selfing (inbreeding {disomic})."),
    "kinship_strong": _(
        "Close kin: inbreeding of the offspring {disomic} counted as a diploid, {polysomic} counted with all"
        " chromosome sets. How water lilies inherit is not known."
    ),
    "kinship_warn": _(
        "Kin: inbreeding of the offspring {disomic} counted as a diploid, {polysomic} counted with all"
        " chromosome sets. How water lilies inherit is not known."
    ),
    "viability_prior_only": _(
        "How long water-lily pollen lives in store has not been published; these figures come from other"
        " plants. Test before you send."
    ),
    "frozen_untested": _(
        "Whether water-lily pollen survives freezing is not known; test it after thawing, before you send."
    ),
    "fresh_dies_fast": _("Undried pollen lives days, not weeks; never freeze it."),
    "box_short_cold": _(
        "The box stays cold about {cold_hours} hours of a trip of about {trip_hours}; then it warms to about"
        " {ambient_c} °C."
    ),
    "below_least_chance": _("Below the least chance that was asked for."),
    "doses_over_flowers": _("More doses are wanted than flowers are expected on the days ahead."),
    # papers across a border
    "papers_nothing_on_file": _(
        "From {origin} to {destination}: nothing on file; this is not permission. Pollen is plant material."
        " The recipient is the importer and asks both countries' plant-health authorities first."
    ),
}


def sentence(code: str, parameters: Mapping[str, object]) -> str:
    """The sentence of a code.

    Raises
    ------
    KeyError
        If the code is not in the catalogue or a parameter is missing.
    """
    return str(SENTENCES[code]).format_map(dict(parameters))
