"""One pairing in sentences: chance, posting dates, what they rest on."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from exchange.models import Pairing
from exchange.wording.catalogue import sentence
from exchange.wording.chance import chance_in_words, percent

BASIS: Mapping[str, str | Promise] = {
    "flower seen": gettext_lazy("a flower seen this season"),
    "bud seen": gettext_lazy("a bud seen this season"),
    "records": gettext_lazy("its own records"),
    "said": gettext_lazy("what its grower says"),
    "similar plants": gettext_lazy("similar plants at that place"),
    "climate": gettext_lazy("the climate of that place"),
    "hemisphere": gettext_lazy("hemisphere and group only"),
    "lot in hand": gettext_lazy("pollen in hand"),
}
DECIDERS: Mapping[str, str | Promise] = {
    "central": gettext_lazy("where pollen and flowers meet best"),
    "viability": gettext_lazy("the pollen, if it dies sooner than usual"),
    "recipient_end": gettext_lazy("the seed parent, if it stops flowering early"),
    "transit": gettext_lazy("the post, if it is slow"),
}


def chance_sentence(pairing: Pairing) -> str:
    """Chance of each flower, with its likely range, and of at least one capsule from several."""
    each, several = pairing.plan["each_flower"], pairing.plan["several"]
    words = _("each flower {words} ({percent}, likely range {low} to {high})").format(
        words=chance_in_words(each["estimate"]),
        percent=percent(each["estimate"]),
        low=percent(each["low"]),
        high=percent(each["high"]),
    )
    if several["flowers"] == 1:
        return words
    more = _("with {flowers} flowers {words}").format(
        flowers=several["flowers"], words=chance_in_words(several["estimate"])
    )
    return f"{words}; {more}"


def bud_wait_sentence(pairing: Pairing) -> str:
    """What a lot gives that waits for the recipient's bud; empty where that was not reckoned."""
    wait = pairing.plan.get("bud_wait")
    if not wait:
        return ""
    each, now = (percent(of["estimate"]) for of in (wait["each_posted"], pairing.plan["each_flower"]))
    low, high = (percent(wait["each_posted"][end]) for end in ("low", "high"))
    figures = _(
        "{advice}: each dose posted then {each}, likely range {low} to {high}, instead of {now}"
    ).format(advice=_bud_advice(wait["better"], differs=each != now), each=each, low=low, high=high, now=now)
    if not wait["better"]:
        return figures
    return _(
        "{figures}; it is posted only if a bud is seen, with {posted}: of each dose promised {promised}"
    ).format(figures=figures, posted=percent(wait["posted_chance"]), promised=percent(wait["each_promised"]))


def _bud_advice(better: bool, *, differs: bool) -> str:
    if not differs:
        return _("to wait for the recipient's bud changes little")
    if better:
        return _("better to wait for the recipient's bud")
    return _("better not to wait for the recipient's bud")


def two_baskets_sentence(pairing: Pairing) -> str:
    """What the doses in two packets would give instead of one; empty where that was not reckoned."""
    baskets = pairing.plan.get("two_baskets") or {}
    if "doses" not in baskets:
        return ""
    first, second = baskets["doses"]
    if baskets["offer"] is None:
        week = _week(date.fromisoformat(baskets["posting"][1]))
        how = _("{first} + {second} doses, the second packet in the {week}").format(
            first=first, second=second, week=week
        )
    else:
        how = _("{first} + {second} doses, the second packet from another donor").format(
            first=first, second=second
        )
    split, together = (percent(baskets[f"at_least_one_{name}"]) for name in ("split", "together"))
    if baskets["gain"] > 0.0 and split != together:
        gains = _("{how}: at least one capsule {split} instead of {together}")
    else:
        gains = _("{how}: no better, at least one capsule {split} instead of {together}")
    return gains.format(how=how, split=split, together=together)


def posting_sentence(pairing: Pairing) -> str:
    """When to post, no more precise than is known."""
    dates = pairing.plan["dates"]
    if dates is None:
        week = _week(date.fromisoformat(pairing.plan["likeliest_posting"]))
        return _("too early to name a day; likeliest in the {week}").format(week=week)
    wait = pairing.plan.get("bud_wait")
    # Pollen on request is collected when the flowers tell, so that it costs nothing to wait for them.
    season = pairing.plan["precision"] == "season"
    words = _season(dates, on_bud=not wait) if season else _days(dates)
    if wait and wait["better"]:
        return _("once a bud shows; by the forecast alone {words}").format(words=words)
    return words


def _season(dates: Mapping[str, Any], *, on_bud: bool) -> str:
    first, last = (_week(date.fromisoformat(dates[name])) for name in ("good_first", "good_last"))
    if first == last:
        words = _("in the {week}").format(week=first)
    else:
        words = _("between the {first} and the {last}").format(first=first, last=last)
    return _("{words}, once a bud shows").format(words=words) if on_bud else words


def _days(dates: Mapping[str, Any]) -> str:
    post_on = _day(date.fromisoformat(dates["post_on"]))
    if dates["send_at_once"]:
        return _("send at once, {day}").format(day=post_on)
    if dates["not_later_than"] is None:
        return _("best on {day}; no deadline this season, the pollen's own life decides").format(day=post_on)
    return _("best on {day}, not later than {last}").format(
        day=post_on, last=_day(date.fromisoformat(dates["not_later_than"]))
    )


def decided_sentence(pairing: Pairing) -> str:
    """What decides the last good day; empty where no date is named."""
    dates = pairing.plan["dates"]
    if dates is None or dates["not_later_than"] is None:
        return ""
    return str(DECIDERS[dates["decided_by"]])


def basis_sentence(pairing: Pairing) -> str:
    """What the forecast of each end rests on."""
    basis = pairing.plan["basis"]
    return _("donor: {donor}; recipient: {recipient}").format(
        donor=BASIS[basis["donor"]], recipient=BASIS[basis["recipient"]]
    )


def sentences(records: list[dict[str, Any]]) -> list[str]:
    """Stored reasons or cautions in the reader's language."""
    return [sentence(record["code"], record["parameters"]) for record in records]


def _day(day: date) -> str:
    return date_format(day, "D j F")


def _week(day: date) -> str:
    monday = day - timedelta(days=day.weekday())
    return _("week of {monday}").format(monday=date_format(monday, "j F"))
