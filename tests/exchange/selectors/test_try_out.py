"""The guest's try-out: the same engine on rows that are never saved."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from exchange.selectors.try_out import Guest, TryOut, try_out
from growers.errors import Conflict, InvalidInput
from growers.services.bloom_rule import SaidWords
from tests.exchange.refusal import refused, rows
from tests.exchange.society import make_groups

pytestmark = pytest.mark.django_db

TODAY = date(2027, 5, 1)
JUNE = SaidWords(False, (), 6, 5, 9, 15, "month_third")
DONOR = Guest("hardy", "FR", JUNE, zone="Europe/Paris")
RECIPIENT = Guest("hardy", "DE", JUNE, latitude_deg=48.1, longitude_deg=11.6)


def tried(donor: Guest = DONOR, recipient: Guest = RECIPIENT, **asked: Any) -> TryOut:
    stated = {"treatment": "dried", "flowers": 4, "today": TODAY, **asked}
    return try_out(donor=donor, recipient=recipient, **stated)


def test_a_season_is_planned_and_nothing_stored(db: None) -> None:
    make_groups()
    before = rows()
    plan = tried()
    assert rows() == before
    assert plan.chance is not None and plan.several is not None
    assert 0.0 < plan.chance["low"] < plan.chance["estimate"] < plan.chance["high"] < 1.0
    assert plan.several["estimate"] > plan.chance["estimate"]
    assert plan.chance["basis"] == {"donor": "said", "recipient": "said"}
    assert plan.in_words.startswith("each flower about ")
    assert plan.donor_bloom is not None and plan.likeliest_posting_week is not None
    assert date(2027, 5, 24) <= plan.donor_bloom.first <= date(2027, 6, 14)
    assert plan.donor_bloom.first <= plan.likeliest_posting_week <= plan.donor_bloom.last
    weeks = [plan.donor_bloom.first, plan.donor_bloom.last, plan.likeliest_posting_week]
    assert [day.weekday() for day in weeks] == [0, 0, 0]
    assert plan.papers is not None and plan.papers["code"] == "papers_nothing_on_file"
    assert [each["code"] for each in plan.reasons] == ["groups_on_record"]
    assert plan.timeline is not None
    assert tried() == plan


def test_a_point_counts_as_its_cell(db: None) -> None:
    make_groups()
    elsewhere = replace(RECIPIENT, latitude_deg=48.4, longitude_deg=11.9)
    assert tried(recipient=elsewhere) == tried()
    here = tried(donor=Guest("hardy", "FR", JUNE, latitude_deg=48.85, longitude_deg=2.35))
    assert here == tried()


@pytest.mark.parametrize(
    ("given", "asking", "code"),
    [("nelumbo", "hardy", "groups_refused"), ("hardy", "lotos", "groups_no_report")],
)
def test_what_cannot_be_is_told_with_its_reason(db: None, given: str, asking: str, code: str) -> None:
    make_groups()
    plan = tried(replace(DONOR, group=given), replace(RECIPIENT, group=asking))
    assert (plan.chance is None) == (code == "groups_refused")
    assert plan.reasons[0]["code"] == code
    assert plan.recipient_bloom is not None


def test_seasons_that_do_not_meet_are_told(db: None) -> None:
    make_groups()
    september = replace(DONOR, usual_bloom=SaidWords(False, (), 9, 10, 9, 20, "date"))
    may = replace(RECIPIENT, usual_bloom=SaidWords(False, (), 5, 5, 5, 20, "date"))
    plan = tried(september, may)
    assert (plan.chance, plan.likeliest_posting_week, plan.timeline) == (None, None, None)
    assert [each["code"] for each in plan.reasons] == ["bloom_does_not_meet"]
    assert "No living pollen would meet an open flower" in plan.reasons[0]["detail"]


def test_a_plant_that_flowers_all_year_has_no_weeks_of_bloom(db: None) -> None:
    make_groups()
    always = SaidWords(True, (1, 2), None, None, None, None, "month_third")
    glass = Guest("hardy", "SG", always, zone="Asia/Singapore")
    plan = tried(recipient=glass)
    assert plan.recipient_bloom is None
    assert plan.chance is not None


@pytest.mark.parametrize(
    ("donor", "pointers"),
    [
        (replace(DONOR, zone="Europe/Berlin"), {"/donor/zone"}),
        (replace(DONOR, zone="Etc/UTC"), {"/donor/zone"}),
        (replace(DONOR, zone=None), {"/donor/zone"}),
        (replace(DONOR, latitude_deg=1.0, longitude_deg=1.0), {"/donor/zone"}),
        (replace(DONOR, zone=None, latitude_deg=1.0), {"/donor/zone"}),
        (replace(DONOR, country="XX"), {"/donor/country", "/donor/zone"}),
        (
            replace(DONOR, usual_bloom=SaidWords(False, (), 6, 31, None, 1, "date")),
            {"/donor/usual_bloom/first_day", "/donor/usual_bloom/last_month"},
        ),
    ],
)
def test_a_place_or_a_season_that_cannot_be_is_told_by_its_field(
    db: None, donor: Guest, pointers: set[str]
) -> None:
    make_groups()
    error = refused(lambda: tried(donor), InvalidInput)
    assert {problem.pointer for problem in error.problems} == pointers


def test_without_reference_tables_it_says_so(db: None) -> None:
    refused(tried, Conflict)
