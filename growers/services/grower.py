"""Growers: sign up, change their own settings, leave."""

import hashlib
from collections.abc import Sequence
from datetime import time
from typing import TypedDict, Unpack

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from growers import clock, handle, place
from growers.errors import NotFound
from growers.models import Change, Grower, Site, WeatherDay
from growers.services import change
from growers.services.problem import Problems
from growers.services.row import as_list, columns_check, fields_set, row_save, words_check

FORMER_GROWER = "former grower"
SITE_TRACES = ("name", "nearest_town", "subdivision", "latitude_deg", "longitude_deg", "region_level")


class GrowerFields(TypedDict, total=False):
    """What a grower may set about themselves."""

    handle: str
    email: str | None
    name: str
    language: str
    units: str
    zone: str
    quiet_from: time | None
    quiet_until: time | None
    countries_shipped_to: Sequence[str]
    default_terms: Sequence[str]
    may_be_asked: bool
    credit_line: str


def grower_create(*, password: str | None = None, **fields: Unpack[GrowerFields]) -> Grower:
    """Sign up a grower; without an e-mail address one for whom a steward enters.

    Raises ``InvalidInput`` for a handle that looks like another's, an unknown zone, a used address.
    """
    grower = Grower()
    problems = Problems()
    fields_set(grower, fields, GrowerFields.__annotations__)
    _password_set(grower, password, problems)  # outside the transaction: hashing is slow on purpose
    _grower_check(grower, problems)
    row_save(grower, kind=Change.Kind.GROWER)
    return grower


def grower_update(*, actor: Grower, **fields: Unpack[GrowerFields]) -> Grower:
    """Change some of one's own settings."""
    with transaction.atomic():
        grower = open_grower(actor)
        fields_set(grower, fields, GrowerFields.__annotations__)
        _grower_check(grower, Problems())
        row_save(grower, kind=Change.Kind.GROWER, names=[*fields, "handle_skeleton"])
    return grower


def grower_close(*, actor: Grower) -> None:
    """Empty the account: its row stays, the person is gone from it and from the sites.

    The handle stays taken, as a hash, so that nobody can come back as a known breeder; plants stay
    because others' pedigrees rest on them.
    """
    with transaction.atomic():
        grower = open_grower(actor)
        _person_erase(grower)
        row_save(grower, kind=Change.Kind.GROWER)
        _sites_blur(grower)


def grower_hold(actor: Grower) -> None:
    """Let what a grower changes of their own wait for each other; ``NotFound`` once the account is closed.

    Whoever only refers to the grower does not wait: they may hold what the holder waits for.
    """
    mine = Grower.objects.select_for_update(no_key=True).filter(pk=actor.pk, closed_at__isnull=True)
    if not mine.values_list("pk").first():
        raise NotFound("There is no such grower.")


def open_grower(actor: Grower) -> Grower:
    """The locked row of a grower whose account is open."""
    grower = Grower.objects.select_for_update().filter(pk=actor.pk, closed_at__isnull=True).first()
    if grower is None:
        raise NotFound("There is no such grower.")
    return grower


def _grower_check(grower: Grower, problems: Problems) -> None:
    grower.handle = handle.normalized(grower.handle)
    grower.handle_skeleton = handle.skeleton(grower.handle)
    grower.countries_shipped_to = as_list(grower.countries_shipped_to)
    grower.default_terms = as_list(grower.default_terms)
    _handle_check(grower, problems)
    _email_check(grower, problems)
    _setting_check(grower, problems)
    columns_check(grower, problems, ranges={}, names=GrowerFields.__annotations__)
    problems.refuse_if_any()


def _handle_check(grower: Grower, problems: Problems) -> None:
    allowed = handle.refusal(grower.handle)
    if allowed is not None:
        problems.add("handle", grower.handle, allowed)
        return
    forms = (grower.handle_skeleton, _left_behind(grower.handle_skeleton))
    if Grower.objects.filter(handle_skeleton__in=forms).exclude(pk=grower.pk).exists():
        problems.add("handle", grower.handle, "one that does not look like another grower's", code="taken")


def _email_check(grower: Grower, problems: Problems) -> None:
    grower.email = Grower.objects.normalize_email(grower.email) or None
    if grower.email is None:
        return
    try:
        validate_email(grower.email)
    except ValidationError:
        problems.add("email", grower.email, "an address such as name@example.org")
    if Grower.objects.filter(email__iexact=grower.email).exclude(pk=grower.pk).exists():
        problems.add("email", grower.email, "an address that no grower uses yet", code="taken")


def _setting_check(grower: Grower, problems: Problems) -> None:
    if grower.zone not in place.zones():
        problems.add("zone", grower.zone, "an IANA time zone such as Europe/Paris")
    languages = [code for code, _ in settings.LANGUAGES]
    if grower.language not in languages:
        problems.add("language", grower.language, ", ".join(languages))
    if (grower.quiet_from is None) != (grower.quiet_until is None):
        missing = "quiet_from" if grower.quiet_from is None else "quiet_until"
        problems.add(missing, None, "a time of day, because quiet hours have a beginning and an end")
    _countries_check(grower, problems)
    words_check(problems, "default_terms", grower.default_terms)


def _countries_check(grower: Grower, problems: Problems) -> None:
    if not isinstance(grower.countries_shipped_to, list):
        problems.add("countries_shipped_to", grower.countries_shipped_to, "a list of country codes")
        return
    for country in grower.countries_shipped_to:
        if country not in place.countries():
            problems.add("countries_shipped_to", country, "ISO 3166 codes of two capital letters such as FR")


def _password_set(grower: Grower, password: str | None, problems: Problems) -> None:
    if password is None:
        grower.set_unusable_password()
        return
    try:
        validate_password(password, grower)
    except ValidationError as error:
        problems.add_sentence("password", "too_weak", " ".join(error.messages))
        return
    grower.set_password(password)


def _left_behind(skeleton: str) -> str:
    """What stays of a closed account's handle."""
    return f"closed:{hashlib.sha256(skeleton.encode()).hexdigest()}"


def _person_erase(grower: Grower) -> None:
    skeleton = _left_behind(grower.handle_skeleton)
    kept = ("id", "public_id", "created_at")
    for column in Grower._meta.concrete_fields:
        if column.name not in kept:
            setattr(grower, column.attname, column.get_default())
    grower.email = None
    grower.handle, grower.handle_skeleton = FORMER_GROWER, skeleton
    grower.closed_at = clock.now()
    grower.set_unusable_password()


def _sites_blur(grower: Grower) -> None:
    """Keep the cells, on which outcomes rest; names, exact places and the weather of a garden go."""
    sites = list(Site.objects.select_for_update().filter(grower=grower).order_by("pk"))
    for site in sites:
        site.name = str(site.public_id)
        site.nearest_town = site.subdivision = ""
        site.latitude_deg = site.longitude_deg = None
        site.region_level = Site.RegionLevel.CLIMATE_BAND
    Site.objects.bulk_update(sites, SITE_TRACES)
    change.note_all(Change.Kind.SITE, sites)
    with_weather = [site for site in sites if site.weather_days.exists()]
    WeatherDay.objects.filter(site__in=with_weather).delete()
    change.note_all(Change.Kind.WEATHER, with_weather)
