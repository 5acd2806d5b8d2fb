"""How fast all lots are reckoned anew, as after a change of the model, by processes on a private database."""

import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime

from exchange.benchmarks.lots_server import prepared, work
from exchange.selectors.lot_outlook import lot_state
from exchange.selectors.lot_record import lot_records, lots_loaded
from exchange.selectors.outlook_progress import lots_unreckoned
from exchange.services.outlook import outlook_row, outlooks_keep

LOTS = 10_000
PROCESSES = 2
BATCH = 250
SECONDS_BAR = 30.0


@dataclass(frozen=True)
class Share:
    """What one process did, and how long it took: reading and writing, and reckoning between."""

    lots: int = 0
    science_seconds: float = 0.0
    database_seconds: float = 0.0


@dataclass(frozen=True)
class LotFigures:
    """All lots, by all processes, from their start to their end."""

    lots: int
    readings: int
    seconds: float
    shares: tuple[Share, ...]

    @property
    def lots_a_second(self) -> float:
        """Reckoned and stored."""
        return self.lots / self.seconds

    @property
    def science_to_database(self) -> float:
        """Time spent in reckoning for each second with the database."""
        science = sum(share.science_seconds for share in self.shares)
        return science / sum(share.database_seconds for share in self.shares)


def reckon(now: datetime, *, part: int = 0, parts: int = 1, batch: int = BATCH) -> Share:
    """Reckon what is left of one part, batch by batch; what is stored already is not done again.

    A process that dies leaves whole batches: started again with the same instant it goes on after them.
    """
    lots, science, database = 0, 0.0, 0.0
    while True:
        began = time.perf_counter()
        loaded = lots_loaded(lots_unreckoned(now, part=part, parts=parts)[:batch])
        records = lot_records(loaded, now)
        read = time.perf_counter()
        rows = [outlook_row(lot_state(record)) for record in records]
        reckoned = time.perf_counter()
        outlooks_keep(rows)
        database += (read - began) + (time.perf_counter() - reckoned)
        if not rows:
            return Share(lots, science, database)
        lots, science = lots + len(rows), science + reckoned - read


def told(share: Share) -> str:
    """What a process prints."""
    return json.dumps(asdict(share))


def measure_lots(lots: int, database: str, say: Callable[[str], object]) -> LotFigures:
    """Make the lots on a private database, then reckon them all by two processes."""
    with prepared(lots, database) as made:
        say(f"{lots} lots with {made.readings} readings on {database}")
        began = time.perf_counter()
        shares = tuple(Share(**json.loads(each)) for each in work(made, PROCESSES))
        seconds = time.perf_counter() - began
    return LotFigures(lots, made.readings, seconds, shares)
