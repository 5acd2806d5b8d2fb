"""Quiet asks: where no offer fits, owners who may be asked read one line; the asker learns nothing of it.

Nothing that whoever wants the cross can read depends on a question or on a no. Only a yes shows, because
it makes an ordinary offer.
"""

from collections import Counter
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Unpack

from django.db import transaction

from exchange.models import DueTask, QuietAsk, WantedCross
from exchange.selectors.block import hidden_from
from exchange.selectors.quiet_ask import crosses_unserved, plants_to_ask, quiet_asks_of, quiet_asks_open
from exchange.selectors.quiet_ask_fit import Fit, Wanting
from exchange.services.due import due_set, register, source
from exchange.services.offer import OfferFields, offer_create
from growers import clock
from growers.errors import Conflict, FieldProblem, InvalidInput, NotFound
from growers.models import Change, Grower, Plant
from growers.services.grower import grower_hold
from growers.services.problem import Problems

KIND = "quiet_ask"
SOCIETY = 1
"""The one scope there is. A due task asks for a number."""

EVERY = timedelta(hours=6)
"""How often the engine looks for whom it could ask (judgement)."""

AFTER_THE_RUN = timedelta(minutes=5)
"""When it looks again while changes wait for a matching run: an offer may be among them."""

WEEK = timedelta(days=7)

MOST_TO_AN_OWNER = 3
"""Questions in any seven days."""

MOST_FOR_A_CROSS = 3
"""In any seven days, so that one wish does not use up what all owners may be asked (judgement)."""

Answer = QuietAsk.Answer
NEEDED_FOR_YES = ("treatment", "doses")


def quiet_ask_answer(
    *, actor: Grower, ask: QuietAsk, answer: str, **offered: Unpack[OfferFields]
) -> QuietAsk:
    """Answer a question about one's own plant: a yes makes an ordinary offer of it, a no is told to nobody.

    Raises ``NotFound`` for others and for a question that has gone, ``Conflict`` once it is answered,
    ``InvalidInput`` for an offer that a yes lacks or a no has, and as for any new offer.
    """
    with transaction.atomic():
        grower_hold(actor)
        own = quiet_asks_of(actor).filter(pk=ask.pk).first()
        if own is None:
            raise NotFound("There is no such question.")
        if own.answer:
            raise Conflict("You have answered this already.")
        _check(answer, offered)
        if answer == Answer.YES:
            offer_create(actor=actor, plant=own.plant, **offered)
        own.answer, own.answered_at = answer, clock.now()
        own.save(update_fields=["answer", "answered_at"])
    return own


def quiet_asks_make(*, now: datetime) -> None:
    """Ask owners for wanted crosses that nothing serves: the oldest first, then the plant entered first.

    The same facts make the same questions. An owner is asked at most three times in seven days, of one
    plant once at a time.
    """
    _forget(now)
    week = _Week(now)
    fit = Fit(now.astimezone(UTC).date())
    plants = list(plants_to_ask(now))
    for row in crosses_unserved():
        plants = [plant for plant in plants if week.has_room(plant)]
        if not plants:
            return
        if week.is_full(row):
            continue
        asker = row.seed_parent.grower
        apart = hidden_from(asker) | {asker.pk}
        _ask_some(fit.wanting(row), [plant for plant in plants if plant.grower_id not in apart], fit, week)


@source
def quiet_ask_look(now: datetime) -> None:
    """Begin to look as soon as somebody may be asked."""
    if _anybody() and not DueTask.objects.filter(kind=KIND, subject_id=SOCIETY).exists():
        due_set(kind=KIND, subject_id=SOCIETY, due_at=now)


@register(KIND)
def quiet_ask_due(subject_id: int, now: datetime) -> datetime | None:
    """Ask, once every change is taken in; when to look again, or None while nobody may be asked."""
    if not _anybody():
        return None
    if Change.objects.exists():
        return now + AFTER_THE_RUN
    quiet_asks_make(now=now)
    return now + EVERY


class _Week:
    """What was asked in the last seven days."""

    def __init__(self, now: datetime) -> None:
        self.now = now
        rows = QuietAsk.objects.filter(created_at__gt=now - WEEK)
        pairs = list(rows.values_list("plant__grower", "wanted_cross"))
        self._owners = Counter(owner for owner, _ in pairs)
        self._crosses = Counter(wanted for _, wanted in pairs)
        waiting = quiet_asks_open(now).values_list("plant__grower", "wanted_cross")
        self._together, self._plants = set(waiting), set[int]()

    def has_room(self, plant: Plant) -> bool:
        """Whether the owner may be asked of this plant."""
        return self._owners[plant.grower_id] < MOST_TO_AN_OWNER and plant.pk not in self._plants

    def is_full(self, row: WantedCross) -> bool:
        """Whether enough was asked for this wanted cross."""
        return self._crosses[row.pk] >= MOST_FOR_A_CROSS

    def allows(self, wanting: Wanting, plant: Plant) -> bool:
        """Whether of this plant for this wanted cross: an owner reads of one wish once at a time."""
        is_new = (plant.grower_id, wanting.row.pk) not in self._together
        return is_new and not self.is_full(wanting.row) and self.has_room(plant)

    def note(self, wanting: Wanting, plant: Plant) -> None:
        """One more was asked."""
        self._owners[plant.grower_id] += 1
        self._crosses[wanting.row.pk] += 1
        self._together.add((plant.grower_id, wanting.row.pk))
        self._plants.add(plant.pk)


def _ask_some(wanting: Wanting, plants: Iterable[Plant], fit: Fit, week: _Week) -> None:
    if wanting.flowers is None:
        return
    for plant in plants:
        if week.allows(wanting, plant) and fit.fits(wanting, plant) and _ask(wanting, plant, week.now):
            week.note(wanting, plant)


def _ask(wanting: Wanting, plant: Plant, now: datetime) -> bool:
    """Counted anew under a lock on the owner, whom another worker or the owner may be changing."""
    with transaction.atomic():
        owner = Grower.objects.select_for_update(no_key=True).filter(pk=plant.grower_id)
        owner.values_list("pk").first()
        asked = QuietAsk.objects.filter(plant__grower=plant.grower_id, created_at__gt=now - WEEK)
        may = plants_to_ask(now).filter(pk=plant.pk).exists()
        if asked.count() >= MOST_TO_AN_OWNER or not may:
            return False
        QuietAsk.objects.create(plant=plant, wanted_cross=wanting.row, created_at=now)
    return True


def _forget(now: datetime) -> None:
    """Delete questions that nobody can answer any more, when the week that they count in is over."""
    gone = QuietAsk.objects.filter(answer="", created_at__lte=now - WEEK)
    gone.exclude(pk__in=quiet_asks_open(now).values("pk")).delete()


def _anybody() -> bool:
    return Grower.objects.filter(may_be_asked=True, closed_at=None).exists()


def _check(answer: str, offered: OfferFields) -> None:
    if answer not in Answer.values:
        problems = Problems()
        problems.add("answer", answer, ", ".join(Answer.values))
        problems.refuse_if_any()
    if answer == Answer.YES:
        names = [name for name in NEEDED_FOR_YES if name not in offered]
        found = [FieldProblem(f"/{name}", "missing", f"{name} is missing; a yes needs it.") for name in names]
    else:
        found = [
            FieldProblem(f"/{name}", "not_with_no", f"{name} has no place with {answer}.") for name in offered
        ]
    if found:
        raise InvalidInput(" ".join(problem.detail for problem in found), problems=tuple(found))
