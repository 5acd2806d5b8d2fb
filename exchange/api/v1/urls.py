"""Addresses of version 1."""

from django.urls import path

from exchange.api.v1 import bloom, me, plant, problem, site, taxon, token, weather

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
]
