"""Lots in words: what puts one in doubt, what its dates rest on, what happened to it."""

from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from exchange.models import CustodyEvent

Kind = CustodyEvent.Kind
Words = Mapping[str, str | Promise]

DOUBTS: Words = {
    "frozen_undried": gettext_lazy("It was frozen undried; freezing moist pollen is said to kill it."),
    "frozen_unplanned": gettext_lazy("It lay below 0 °C though it was to be chilled; test it before use."),
    "heat": gettext_lazy("It was above 35 °C for more than an hour; the curve is not known there."),
    "thawed": gettext_lazy("It thawed; how much that costs is not known."),
    "wetted": gettext_lazy("It got damp; wet pollen germinates or rots, and the curve says nothing of it."),
    "in_fluid": gettext_lazy("It is in stigmatic fluid, where it lives for hours."),
}
BASIS: Words = {
    "prior_only": gettext_lazy(
        "No test of this lot: how long water-lily pollen lives in store has not been published; these"
        " figures come from other plants."
    ),
    "tested": gettext_lazy(
        "{tests} counted here of this lot; what it does not tell comes from other plants."
    ),
    "other_way": gettext_lazy(
        "Tests of another method, medium or rule are shown and not counted together: {tests_of_another_way}."
    ),
    "life_not_sharpened": gettext_lazy(
        "The test says how good the lot is, not how long it lasts; one some days later would."
    ),
    "rough": gettext_lazy("The counts lie far from what other plants do; the likely range is rough."),
    "low_viability": gettext_lazy(
        "Under 1 grain in 20 germinates in the middle case; flowers have set seed with little more."
    ),
    "assumed_gap": gettext_lazy("Where the logger was silent the warmest that is plausible was assumed."),
}
EVENTS: Words = {
    Kind.COLLECTED: gettext_lazy("collected"),
    Kind.DRIED: gettext_lazy("dry, and in its store"),
    Kind.MOVED: gettext_lazy("moved to another store: {store}"),
    Kind.PUT_IN_FLUID: gettext_lazy("put into stigmatic fluid"),
    Kind.INCIDENT: gettext_lazy("something went wrong: {incident}"),
    Kind.PACKET_FILLED: gettext_lazy("packet {number} filled, doses: {doses}"),
    Kind.TESTED: gettext_lazy("tested: {germinated} of {grains} grains"),
    Kind.TEMPERATURE_READ: gettext_lazy("temperatures read: {minimum_c:.1f} to {maximum_c:.1f} °C"),
    Kind.HANDED_OVER: gettext_lazy("packet {number} handed over"),
    Kind.RECEIVED: gettext_lazy("packet {number} received"),
    Kind.USED_UP: gettext_lazy("used up"),
    Kind.DISCARDED: gettext_lazy("discarded"),
    Kind.CORRECTED: gettext_lazy("put right what was said of its collecting"),
}
FELT: Words = {
    "cold": gettext_lazy("it felt cold"),
    "cool": gettext_lazy("it felt cool"),
    "warm": gettext_lazy("it felt warm"),
}
INCIDENTS: Words = {
    "switched_off": gettext_lazy("its store was without power"),
    "left_out": gettext_lazy("it was left out of its store"),
    "thawed": gettext_lazy("it thawed"),
    "got_damp": gettext_lazy("it got damp"),
}
STORES: Words = {
    "refrigerator": gettext_lazy("refrigerator"),
    "freezer": gettext_lazy("freezer"),
    "frost_free_freezer": gettext_lazy("frost-free freezer"),
    "chest_freezer": gettext_lazy("chest freezer"),
    "colder": gettext_lazy("colder than a freezer"),
}
TREATMENTS: Words = {
    "fresh": gettext_lazy("fresh"),
    "dried": gettext_lazy("dried"),
    "frozen": gettext_lazy("dried and frozen"),
}


def doubt_sentence(code: str) -> str:
    """Why the curve may not hold."""
    return str(DOUBTS[code])


def basis_sentence(code: str, parameters: Mapping[str, Any]) -> str:
    """What the figures rest on."""
    return str(BASIS[code]).format(**parameters)


def custody_words(event: CustodyEvent) -> str:
    """What happened, in a few words."""
    words = dict(event.parameters)
    if "felt" in words:
        return str(FELT[words["felt"]])
    words |= words.pop("summary", {})
    if event.kind == Kind.INCIDENT:
        words["incident"] = INCIDENTS[words["incident"]]
    if "store" in words:
        words["store"] = STORES[words["store"]]
    return str(EVENTS[event.kind]).format(**words)


def custody_sentence(event: CustodyEvent) -> str:
    """What happened to a lot as its grower or a partner is told; its plant is loaded."""
    head = gettext_lazy("Pollen of {plant}, lot {code}: {words}.")
    told = str(head).format(
        plant=event.lot.plant.name_as_grown,
        code=f"{event.lot.code[:4]}-{event.lot.code[4:]}",
        words=custody_words(event),
    )
    return " ".join([told, *_dates(event), *map(doubt_sentence, event.parameters.get("new_doubts", ()))])


def _dates(event: CustodyEvent) -> list[str]:
    before, after = event.parameters.get("before"), event.parameters.get("after")
    if event.kind == Kind.CORRECTED or not after:
        return []
    words = gettext_lazy("Best before {after} (was {before}).")
    return [str(words).format(after=_day(after["best_before"]), before=_day(before["best_before"]))]


def _day(instant: str | None) -> str:
    return str(gettext_lazy("not known")) if instant is None else instant[:10]
