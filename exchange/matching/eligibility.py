"""Whether an offer and a wanted cross can be a pairing at all, and how well the two plants may take."""

from dataclasses import dataclass

from exchange.matching.reason import Reason
from exchange.matching.side import CrossWanted, Parent, PollenOffer
from exchange.science import modifier
from exchange.science.compatibility import GroupPrior, mixed_prior

NO_REPORT = "no report found"
"""How the table of group priors says that its row is judgement alone."""

FERTILITY_WORDS: dict[str, modifier.Fertility] = {
    "yes": "fertile",
    "poor": "poor",
    "no": "sterile",
    "unknown": "not stated",
}


@dataclass(frozen=True)
class Compatibility:
    """The prior of the ordered pair of groups, the factor on it, and the reasons of both."""

    prior: GroupPrior
    factor: float
    reasons: tuple[Reason, ...]

    @property
    def mean(self) -> float:
        """Mean chance that a pollination with live pollen takes, 0–1."""
        return self.prior.mean * self.factor


def refusals(offer: PollenOffer, wanted: CrossWanted) -> tuple[Reason, ...]:
    """Every reason that rules the pairing out before any date is looked at; empty if none does."""
    found = [
        _not_asked_for(offer, wanted),
        _country(offer, wanted),
        *_impossible(wanted.parent, offer.parent),
        _no_forecast(offer, wanted),
    ]
    return tuple(reason for reason in found if reason is not None)


def compatibility(seed: Parent, pollen: Parent) -> Compatibility:
    """Group prior and modifiers of a seed parent and a pollen parent, direction kept."""
    prior = mixed_prior(seed.groups, pollen.groups)
    found = modifier.pair_modifier(
        modifier.Parent(seed.groups, FERTILITY_WORDS[seed.seed_fertility], seed.chromosome_counts),
        modifier.Parent(pollen.groups, FERTILITY_WORDS[pollen.pollen_fertility], pollen.chromosome_counts),
    )
    sources = {"seed": seed.fertility_source, "pollen": pollen.fertility_source}
    reasons = [_prior_reason(prior, seed, pollen)]
    for code, parameters in found.reasons:
        plant: dict[str, str] = {}
        if code.endswith("_parent"):
            side = "pollen" if "pollen" in code else "seed"
            plant = {"plant": _name(side, seed, pollen), "source": sources[side]}
        reasons.append(Reason(code, {**parameters, **plant}))
    return Compatibility(prior, found.factor, tuple(reasons))


def _name(side: str, seed: Parent, pollen: Parent) -> str:
    return seed.name if side == "seed" else pollen.name


def _prior_reason(prior: GroupPrior, seed: Parent, pollen: Parent) -> Reason:
    unreported = all(source.startswith(NO_REPORT) for source in prior.source.split(" | "))
    code = "groups_no_report" if unreported else "groups_on_record"
    return Reason(
        code,
        {
            "seed_groups": " × ".join(seed.groups),
            "pollen_groups": " × ".join(pollen.groups),
            "chance": round(prior.mean, 4),
            "weight": round(prior.alpha + prior.beta, 2),
            "justification": prior.justification,
            "source": prior.source,
            "status": prior.status,
        },
    )


def _impossible(seed: Parent, pollen: Parent) -> tuple[Reason, ...]:
    taking = compatibility(seed, pollen)
    if taking.prior.refused:
        groups = {"seed_groups": " × ".join(seed.groups), "pollen_groups": " × ".join(pollen.groups)}
        return (Reason("groups_refused", {**groups, "source": taking.prior.source}),)
    if taking.factor == 0.0:
        return tuple(reason for reason in taking.reasons if reason.code.startswith("sterile_"))
    return ()


def _not_asked_for(offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
    parent = offer.parent
    named = (wanted.clones and parent.clone in wanted.clones) or (wanted.taxa and parent.taxon in wanted.taxa)
    grouped = bool(wanted.groups & set(parent.groups))
    if (wanted.clones or wanted.taxa or wanted.groups) and not (named or grouped):
        return Reason("not_asked_for", {"plant": parent.name})
    missing = wanted.traits - parent.traits
    return Reason("traits_missing", {"traits": ", ".join(sorted(missing))}) if missing else None


def _country(offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
    if wanted.country == offer.country or wanted.country in offer.ships_to:
        return None
    return Reason("country_not_shipped_to", {"country": wanted.country})


def _no_forecast(offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
    if wanted.bloom is None:
        return Reason("seed_parent_bloom_unknown", {"plant": wanted.parent.name})
    if offer.lot is None and offer.bloom is None:
        return Reason("pollen_parent_bloom_unknown", {"plant": offer.parent.name})
    return None
