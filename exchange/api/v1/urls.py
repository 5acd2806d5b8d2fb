"""Addresses of version 1."""

from django.urls import path

from exchange.api.v1 import (
    bloom,
    matching_run,
    me,
    offer,
    pairing,
    plant,
    problem,
    public,
    site,
    taxon,
    token,
    try_out,
    wanted_cross,
    weather,
)

urlpatterns = [
    path("problems", problem.ProblemList.as_view(), name="problems"),
    path("me", me.Me.as_view(), name="me"),
    path("tokens", token.TokenList.as_view(), name="tokens"),
    path("tokens/<uuid:id>", token.TokenItem.as_view(), name="token"),
    path("sites", site.SiteList.as_view(), name="sites"),
    path("sites/<uuid:id>", site.SiteItem.as_view(), name="site"),
    path("taxa", taxon.TaxonList.as_view(), name="taxa"),
    path("taxa/<uuid:id>", taxon.TaxonItem.as_view(), name="taxon"),
    path("plants", plant.PlantList.as_view(), name="plants"),
    path("plants/<uuid:id>", plant.PlantItem.as_view(), name="plant"),
    path("plants/<uuid:id>/bloom-forecast", plant.PlantBloomForecast.as_view(), name="plant_bloom_forecast"),
    path("plants/<uuid:id>/bloom-seasons", bloom.PlantSeasons.as_view(), name="bloom_seasons"),
    path("plants/<uuid:id>/usual-bloom", bloom.PlantUsualBloom.as_view(), name="usual_bloom"),
    path("plants/<uuid:id>/bloom-sightings", bloom.PlantSightings.as_view(), name="bloom_sightings"),
    path("bloom-seasons/<uuid:id>", bloom.SeasonItem.as_view(), name="bloom_season"),
    path("sites/<uuid:id>/weather-days", weather.SiteWeather.as_view(), name="weather_days"),
    path("offers", offer.OfferList.as_view(), name="offers"),
    path("offers/<uuid:id>", offer.OfferItem.as_view(), name="offer"),
    path("offers/<uuid:id>/pause", offer.OfferPause.as_view(), name="offer_pause"),
    path("offers/<uuid:id>/reopen", offer.OfferReopen.as_view(), name="offer_reopen"),
    path("offers/<uuid:id>/close", offer.OfferClose.as_view(), name="offer_close"),
    path("wanted-crosses", wanted_cross.WantedCrossList.as_view(), name="wanted_crosses"),
    path("wanted-crosses/<uuid:id>", wanted_cross.WantedCrossItem.as_view(), name="wanted_cross"),
    path(
        "wanted-crosses/<uuid:id>/pause", wanted_cross.WantedCrossPause.as_view(), name="wanted_cross_pause"
    ),
    path(
        "wanted-crosses/<uuid:id>/reopen",
        wanted_cross.WantedCrossReopen.as_view(),
        name="wanted_cross_reopen",
    ),
    path(
        "wanted-crosses/<uuid:id>/close", wanted_cross.WantedCrossClose.as_view(), name="wanted_cross_close"
    ),
    path(
        "wanted-crosses/<uuid:id>/explanation",
        matching_run.WantedCrossExplanation.as_view(),
        name="wanted_cross_explanation",
    ),
    path("pairings", pairing.PairingList.as_view(), name="pairings"),
    path("pairings/<uuid:id>", pairing.PairingItem.as_view(), name="pairing"),
    path("pairings/<uuid:id>/dismiss", pairing.PairingDismiss.as_view(), name="pairing_dismiss"),
    path("matching-runs", matching_run.MatchingRunList.as_view(), name="matching_runs"),
    path("matching-runs/dry-run", matching_run.MatchingDryRun.as_view(), name="matching_dry_run"),
    path("matching-runs/<uuid:id>", matching_run.MatchingRunItem.as_view(), name="matching_run"),
    path("public/market", public.Market.as_view(), name="public_market"),
    path("try-out", try_out.TryOutPlan.as_view(), name="try_out"),
]
