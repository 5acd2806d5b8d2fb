"""What happened to an agreement, as each of its two growers reads it: kindly, and to the point."""

from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from exchange.models import Agreement, AgreementEvent
from exchange.wording.region import region_words
from growers.models import Grower
from growers.selectors.site import region

Kind = AgreementEvent.Kind
Reason = Agreement.EndReason
Words = Mapping[str, str | Promise]

REASONS: Words = {
    Reason.NOT_THIS_YEAR: gettext_lazy("It will not work this year, with regret."),
    Reason.NOT_ENOUGH_POLLEN: gettext_lazy("There is not enough pollen for it this time."),
    Reason.NOT_IN_BLOOM: gettext_lazy("The plant is not going to flower in time."),
    Reason.FOUND_ELSEWHERE: gettext_lazy("Pollen was found elsewhere meanwhile; thank you for the offer."),
    Reason.WITHDRAWN: gettext_lazy("The other had to step back."),
    Reason.POSTPONED: gettext_lazy("The other would like to come back to it next season."),
    Reason.CAME_UP_SHORT: gettext_lazy(
        "The flowers gave less pollen than expected, and none was left for this agreement; it is nobody's"
        " fault."
    ),
    Reason.ACCOUNT_CLOSED: gettext_lazy("The other has left the exchange."),
    Reason.NO_ANSWER: gettext_lazy("There was no answer in time; that says nothing about anybody."),
    Reason.TIME_RAN_OUT: gettext_lazy("The time for which doses were reserved has passed."),
    Reason.DONE: gettext_lazy("Its story is over; thank you both."),
    Reason.OTHER: gettext_lazy("It does not fit this time."),
}
FROM_OTHER: Words = {
    Kind.PROPOSED: gettext_lazy("{other} says yes to {doses} of {plant}. Now it is your turn."),
    Kind.AGREED: gettext_lazy("{other} said yes too: {doses} of {plant} reserved."),
    Kind.DECLINED: gettext_lazy("About {plant}: not this time. {reason}"),
    Kind.LAPSED: gettext_lazy("About {plant}: it has lapsed. {reason}"),
    Kind.SENT_LESS: gettext_lazy("{other} can send {doses} of {plant} instead of {before}."),
    Kind.CAME_UP_SHORT: gettext_lazy(
        "The flowers of {plant} gave less pollen than expected: {doses} instead of {before} for you, by the"
        " order in which it was agreed."
    ),
    Kind.COLLECTED: gettext_lazy("{other} has collected {plant}; {doses} for you."),
    Kind.SENT: gettext_lazy("{other} has handed over {doses} of {plant}."),
    Kind.ENDED: gettext_lazy("About {plant}: the agreement has ended. {reason}"),
    Kind.STATEMENT_MADE: gettext_lazy("{other} has stated their side of the papers for {plant}."),
    Kind.ADDRESS_STATED: gettext_lazy("{other} has stated the address for {plant}; you can read it now."),
    Kind.ADDRESS_CHANGED: gettext_lazy(
        "The address for the parcel with {plant} has been changed; it can be read again in a day. If that"
        " surprises you, ask."
    ),
    Kind.ADDRESS_REMOVED: gettext_lazy(
        "The address for the parcel with {plant} has been taken back; ask before you post anything."
    ),
    Kind.NEXT_DONOR_SHOWN: gettext_lazy(
        "No answer yet about {plant}; silence may mean a busy week. Somebody else could send pollen too."
    ),
    Kind.DONOR_SILENT: gettext_lazy(
        "Today was the day to post {plant}, and nothing was heard yet; it may still be under way."
    ),
    Kind.NOTE_WRITTEN: gettext_lazy("{other} has written you a note about {plant}."),
    Kind.DISPATCHED: gettext_lazy(
        "{other} has posted {plant}. Half of such parcels come by {half_on}, nine in ten by {late_on}, if"
        " they come."
    ),
    Kind.BUD_CALL: gettext_lazy(
        "{other} sees a bud at the surface: post {plant} on {post_on}, the next day the post is open."
    ),
    Kind.HELD_BACK: gettext_lazy("The parcel with {plant} is held on its way."),
    Kind.HAS_IT_COME: gettext_lazy(
        "Has the parcel with {plant} come? Parcels on this way take their time; say so when it does, and"
        " leave it closed until it is as warm as the room."
    ),
    Kind.RECEIVED: gettext_lazy("{other} has received {plant}: {condition}."),
    Kind.REFUSED: gettext_lazy("The parcel with {plant} was refused at the border or at the door."),
    Kind.LOST: gettext_lazy("The parcel with {plant} is taken for lost. That happens; it is nobody's fault."),
    Kind.RETURNED: gettext_lazy("The parcel with {plant} has come back."),
    Kind.DETOUR_ASKED: gettext_lazy(
        "{other} asks to have {plant} sent by way of a steward in their country, who says that they hold a"
        " permit. Now it is your turn."
    ),
    Kind.DETOUR_DONOR_YES: gettext_lazy(
        "{other} says yes to sending {plant} by way of the steward, who answers last."
    ),
    Kind.DETOUR_AGREED: gettext_lazy(
        "The steward says yes too: {plant} goes by way of them. That is no permission; ask your plant-health"
        " authority."
    ),
    Kind.DETOUR_DECLINED: gettext_lazy(
        "{plant} will not go by way of the steward; the direct way is as it was before."
    ),
    Kind.DETOUR_WITHDRAWN: gettext_lazy(
        "The way of {plant} by a steward has been taken back; the direct way is as it was before."
    ),
}
ON_A_LEG: Mapping[tuple[str, str], str | Promise] = {
    (Kind.DISPATCHED, "to_steward"): gettext_lazy(
        "{other} has posted {plant} to the steward. By way of them half of such parcels come by {half_on},"
        " nine in ten by {late_on}, if they come."
    ),
    (Kind.DISPATCHED, "inland"): gettext_lazy(
        "The steward has posted {plant} on. Half of such parcels come by {half_on}, nine in ten by {late_on},"
        " if they come."
    ),
    (Kind.RECEIVED, "to_steward"): gettext_lazy("The steward has received {plant}: {condition}."),
}
"""By way of a steward, who may be the one who did it."""

TO_STEWARD: Words = {
    Kind.DETOUR_DONOR_YES: gettext_lazy(
        "A place in your gathering is asked for: {doses} of {plant}. Recipient and donor have said yes; now"
        " it is your turn."
    ),
    Kind.DETOUR_DECLINED: gettext_lazy("{plant} does not come by way of you after all."),
    Kind.DETOUR_WITHDRAWN: gettext_lazy("{plant} does not come by way of you after all."),
    Kind.DISPATCHED: gettext_lazy(
        "{plant} is on its way to you. Half of such parcels come by {leg_half_on}, nine in ten by"
        " {leg_late_on}, if they come."
    ),
    Kind.HAS_IT_COME: FROM_OTHER[Kind.HAS_IT_COME],
    Kind.HELD_BACK: FROM_OTHER[Kind.HELD_BACK],
    Kind.RECEIVED: gettext_lazy("{plant} has come to its recipient: {condition}."),
    Kind.REFUSED: FROM_OTHER[Kind.REFUSED],
    Kind.LOST: FROM_OTHER[Kind.LOST],
    Kind.RETURNED: FROM_OTHER[Kind.RETURNED],
}
CONDITIONS: Words = {
    "intact": gettext_lazy("all in good order"),
    "damp": gettext_lazy("it was damp"),
    "crushed": gettext_lazy("it was crushed"),
    "warm": gettext_lazy("it was warm"),
    "label": gettext_lazy("a label was wrong or missing"),
}

OWN: Words = {
    Kind.PROPOSED: gettext_lazy("You said yes to {doses} of {plant}."),
    Kind.AGREED: gettext_lazy("You said yes too: {doses} of {plant} reserved."),
    Kind.DECLINED: gettext_lazy("You said: {reason}"),
    Kind.SENT_LESS: gettext_lazy("You can send {doses} instead of {before}."),
    Kind.CAME_UP_SHORT: gettext_lazy("You said that there is less pollen: {doses} instead of {before}."),
    Kind.COLLECTED: gettext_lazy("You collected {plant}; {doses} of it are for this agreement."),
    Kind.SENT: gettext_lazy("You handed over {doses}."),
    Kind.ENDED: gettext_lazy("You ended the agreement."),
    Kind.STATEMENT_MADE: gettext_lazy("You stated your side of the papers."),
    Kind.ADDRESS_STATED: gettext_lazy("You stated the address for the parcel with {plant}."),
    Kind.ADDRESS_CHANGED: gettext_lazy(
        "Your address for the parcel with {plant} was changed; it can be read again in a day. If that was not"
        " you, set a new password."
    ),
    Kind.ADDRESS_REMOVED: gettext_lazy(
        "Your address for the parcel with {plant} was taken back. If that was not you, set a new password."
    ),
    Kind.NOTE_WRITTEN: gettext_lazy("You wrote a note about {plant}."),
    Kind.DISPATCHED: gettext_lazy("You posted {plant}."),
    Kind.HELD_BACK: gettext_lazy("You noted that the parcel with {plant} is held."),
    Kind.RECEIVED: gettext_lazy("You received {plant}: {condition}."),
    Kind.REFUSED: gettext_lazy("You noted that the parcel with {plant} was refused."),
    Kind.LOST: gettext_lazy("You took the parcel with {plant} for lost."),
    Kind.RETURNED: gettext_lazy("You noted that the parcel with {plant} has come back."),
    Kind.DETOUR_ASKED: gettext_lazy("You asked to have {plant} sent by way of a steward."),
    Kind.DETOUR_DONOR_YES: gettext_lazy("You said yes to sending {plant} by way of a steward."),
    Kind.DETOUR_AGREED: gettext_lazy("You said yes: {plant} goes by way of you."),
    Kind.DETOUR_DECLINED: gettext_lazy("You said no to sending {plant} by way of a steward."),
    Kind.DETOUR_WITHDRAWN: gettext_lazy("You took back the way of {plant} by a steward."),
}


def reason_sentence(reason: str) -> str:
    """Why an agreement ended, in a kind sentence; blank while it lives."""
    return str(REASONS[reason]) if reason else ""


def event_sentence(event: AgreementEvent, reader: Grower) -> str:
    """An event of another's, or of time, as one of the growers concerned reads it."""
    kind, leg = event.kind, event.parameters.get("leg", "")
    if reader.pk not in (event.agreement.donor_id, event.agreement.recipient_id):
        return _filled(TO_STEWARD[kind], event, reader)
    if (kind, leg) in ON_A_LEG:
        return _filled(ON_A_LEG[kind, leg], event, reader)
    if kind == Kind.CAME_UP_SHORT and event.parameters["doses"] == 0:
        kind = Kind.ENDED
    return _filled(FROM_OTHER[kind], event, reader)


def own_event_sentence(event: AgreementEvent, reader: Grower) -> str:
    """What its reader did themselves."""
    return _filled(OWN[event.kind], event, reader)


def _filled(words: str | Promise, event: AgreementEvent, reader: Grower) -> str:
    parameters: Mapping[str, Any] = event.parameters
    return str(words).format(
        other=other_words(event.agreement, reader),
        plant=event.agreement.offer.plant.name_as_grown,
        doses=doses_words(parameters["doses"]) if "doses" in parameters else "",
        before=parameters.get("before", ""),
        reason=reason_sentence(parameters.get("reason", "")),
        half_on=parameters.get("half_on", ""),
        post_on=parameters.get("post_on", ""),
        late_on=parameters.get("late_on", ""),
        leg_half_on=parameters.get("leg_half_on", ""),
        leg_late_on=parameters.get("leg_late_on", ""),
        condition=CONDITIONS.get(parameters.get("condition", ""), ""),
    )


def other_words(agreement: Agreement, reader: Grower) -> str:
    """The other grower: by handle once both have said yes, a recipient by region alone before."""
    if reader.pk == agreement.recipient_id:
        return agreement.donor.handle
    if agreement.agreed_at is not None:
        return agreement.recipient.handle
    where = region_words(region(agreement.wanted_cross.seed_parent.site))
    return _("Someone in this region: {region}").format(region=where)


def doses_words(doses: int) -> str:
    """So many doses."""
    return ngettext("{doses} dose", "{doses} doses", doses).format(doses=doses)
