"""Lots to be reckoned: each with a hundred readings of a logger, a fifth of them with two tests."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from exchange.models import Assay, Lot, Stay, Store, TemperatureUpload
from exchange.science.arrays import FloatArray
from exchange.science.logger_packing import pack_readings
from exchange.science.logger_stamp import SECONDS_PER_HOUR
from exchange.selectors.lot_time import cut_at
from growers.models import Grower, Plant
from growers.services.grower import grower_create
from growers.services.plant import plant_create
from growers.services.site import SiteFields, site_create

READINGS = 100
LOTS_A_TEST = 5
"""One lot of so many is tested, twice."""
LOTS_A_PLANT = 50
OLDEST_DAYS = 60
READING_HOURS = 0.5
AT_ONCE = 500
SITE: SiteFields = {"name": "pond", "country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}
WAY = {"method": "in_vitro", "medium": "5 % sucrose", "rule": "tube as long as the grain", "rehydrated": True}


@dataclass(frozen=True)
class Ground:
    """Whose lots they are, where they lie, and of when."""

    grower: Grower
    store: Store
    plants: list[Plant]
    now: datetime
    rng: np.random.Generator


def seed(lots: int, now: datetime) -> int:
    """Make so many lots collected in the days before an instant; the number of their readings."""
    ground = _ground(lots, now)
    for first in range(0, lots, AT_ONCE):
        made = Lot.objects.bulk_create(
            _lot(ground, place) for place in range(first, min(first + AT_ONCE, lots))
        )
        Stay.objects.bulk_create(Stay(lot=lot, store=lot.store, since=cut_at(lot)) for lot in made)
        TemperatureUpload.objects.bulk_create(_upload(ground, lot) for lot in made)
        Assay.objects.bulk_create(test for lot in made[::LOTS_A_TEST] for test in _tests(ground, lot))
    return lots * READINGS


def _ground(lots: int, now: datetime) -> Ground:
    grower = grower_create(handle="weir")
    site = site_create(actor=grower, **SITE)
    store = Store.objects.create(grower=grower, name="cold", kind=Store.Kind.REFRIGERATOR)
    plants = [
        plant_create(actor=grower, site=site, name_as_grown=f"'{number}'", group="hardy", diel="day")
        for number in range(max(1, lots // LOTS_A_PLANT))
    ]
    return Ground(grower, store, plants, now, np.random.default_rng(lots))


def _lot(ground: Ground, place: int) -> Lot:
    days = int(ground.rng.integers(3, OLDEST_DAYS))
    return Lot(
        plant=ground.plants[place % len(ground.plants)],
        collected_on=ground.now.date() - timedelta(days=days),
        collected_hour=9,
        treatment="dried",
        store=ground.store,
        doses=4,
        collected_by=ground.grower,
    )


def _upload(ground: Ground, lot: Lot) -> TemperatureUpload:
    began = cut_at(lot)
    hours = READING_HOURS * np.arange(READINGS, dtype=np.float64)
    noise = ground.rng.normal(0.0, 0.5, READINGS)
    seconds: FloatArray = began.timestamp() + hours * SECONDS_PER_HOUR
    return TemperatureUpload(
        lot=lot,
        began_at=began,
        ended_at=began + timedelta(hours=float(hours[-1])),
        file_digest=f"{lot.pk:064x}",
        readings=pack_readings(seconds, (5.0 + 3.0 * np.sin(hours) + noise).astype(np.float32)),
        uploaded_by=ground.grower,
    )


def _tests(ground: Ground, lot: Lot) -> Iterator[Assay]:
    share = float(ground.rng.uniform(0.15, 0.6))
    for hours, kept in ((30.0, 1.0), (66.0, 0.8)):
        grown = ground.rng.binomial(100, share * kept, 2).tolist()
        yield Assay(
            lot=lot,
            tested_at=cut_at(lot) + timedelta(hours=hours),
            replicates=[[each, 100] for each in grown],
            tested_by=ground.grower,
            **WAY,
        )
