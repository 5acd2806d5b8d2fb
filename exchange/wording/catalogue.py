"""The catalogue: a stable code and its parameters become a sentence in the reader's language."""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from exchange.wording.chance import chance_in_words

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
        "Hardy water lilies hardly set seed in water of {water_c:.0f} °C; above {limit_c:g} °C we multiply"
        " the chance by {factor:g}."
    ),
    "different_chromosome_counts": _(
        "The parents' chromosome counts differ ({seed_count:g} and {pollen_count:g}); we multiply the chance"
        " by {factor:g}."
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
        "Days under way: about {trip_days}. The box stays cold about {cold_hours} hours of them; then it"
        " warms to about {ambient_c} °C."
    ),
    "below_least_chance": _("Below the least chance that was asked for."),
    "doses_over_flowers": _(
        "{flowers} doses are wanted, but only about {expected} flowers are expected once they arrive."
    ),
    "doses_over_donor_flowers": _(
        "{doses} doses are wanted, which takes {flowers} flowers of the donor; that so many have opened by"
        " the likeliest posting day: {words}."
    ),
    "other_direction": _(
        "The other way round takes more often: {pollen_groups} as seed parent, about {percent} in 100. Ask"
        " whether its grower would cross it there with your pollen."
    ),
    # the smallest change that helps; the figures are those of the changed pairing
    "change_dried_instead_of_fresh": _("Dried instead of fresh: each flower {words} instead of {instead}."),
    "change_saturday_service": _("With a Saturday service: each flower {words} instead of {instead}."),
    "change_collect_before_cut_off": _(
        "Collected and handed over before the post's cut-off: each flower {words} instead of {instead}."
    ),
    "change_cold_box": _("In a cold box instead of an envelope: each flower {words} instead of {instead}."),
    "change_second_donor": _(
        "With pollen of {plant} from a second donor as well: at least one capsule {words} instead of"
        " {instead}."
    ),
    "change_post_to_country": _("If the donor posted there: each flower {words}."),
    # why a wanted cross gets what it gets
    "allocation_best": _("The best that was on offer for it."),
    "allocation_no_offer": _("No offer would do for it."),
    "allocation_no_flower_left": _("All its flowers have pollen agreed already."),
    "allocation_none_left": _("All doses that would do for it are agreed already."),
    "allocation_stays": _("It was proposed before, and nothing clearly better has come up."),
    "allocation_others_stay": _("Others keep what was proposed to them before."),
    "allocation_growers_without_first": _("Growers who have none come first, one dose each."),
    "allocation_more_elsewhere": _("The doses it does not get do more elsewhere."),
    # papers across a border
    "papers_forbidden": _(
        "From {origin} to {destination} a note on file forbids it: {text}"
        " ({source}, checked on {checked_on}). The recipient's authority decides, not this note."
    ),
    "papers_forbidden_country_not_told": _(
        "Across a border to a country that is not shown yet, a note on file forbids it. The recipient's"
        " authority decides, not this note."
    ),
    "papers_note_on_file": _(
        "From {origin} to {destination}, a note on file: {text} ({source}, checked on {checked_on})."
        " This is not permission; the recipient is the importer and asks before anything is sent."
    ),
    "papers_note_old": _(
        "From {origin} to {destination}, a note older than 12 months, so treat it as unknown: {text}"
        " ({source}, checked on {checked_on}). This is not permission; the recipient is the importer and"
        " asks first."
    ),
    "papers_country_not_told": _(
        "Across a border, and the other country is not shown yet: this is not permission. Pollen is plant"
        " material. The recipient is the importer and asks both countries' plant-health authorities first."
    ),
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
    return str(SENTENCES[code]).format_map(_worded(parameters))


def _worded(parameters: Mapping[str, object]) -> dict[str, object]:
    """Parameters with the words that sentences use for chances."""
    worded = dict(parameters)
    chance, instead = parameters.get("chance"), parameters.get("instead_of")
    if isinstance(chance, float):
        worded |= {"percent": f"{100.0 * chance:.3g}", "words": chance_in_words(chance)}
    if isinstance(instead, float):
        worded["instead"] = chance_in_words(instead)
    return worded
