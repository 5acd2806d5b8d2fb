"""How fast the API answers: a page of 50 pairings against one row, by the same server.

The two are asked for in turns, so that a busy machine slows both.
"""

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from statistics import median

from exchange.benchmarks.api_server import Server, served
from exchange.benchmarks.api_urls import ONE_ROW
from exchange.benchmarks.api_world import PAIRINGS

ROUNDS = 3
WARM_UP_SECONDS = 1.0
CLIENTS = 2
"""While one reads its answer, the other's is being made: the worker never waits."""
RATIO_BAR = 0.5


@dataclass(frozen=True)
class Figures:
    """Answers a second, in each round."""

    one_row: tuple[float, ...]
    pairings: tuple[float, ...]

    @property
    def ratio(self) -> float:
        """Pages of pairings for each answer of one row, by the medians."""
        return median(self.pairings) / median(self.one_row)


def measure(seconds: float, say: Callable[[str], object]) -> Figures:
    """Ask for each so many seconds, in turns, three times; each rate is said as it is found."""
    with served() as server:
        paths = {
            "one row": f"/{ONE_ROW}/{server.plant_id}",
            f"{PAIRINGS} pairings": f"/api/v1/pairings?limit={PAIRINGS}",
        }
        for path in paths.values():
            rate(server, path, min(seconds, WARM_UP_SECONDS))
        found: dict[str, list[float]] = {name: [] for name in paths}
        for _ in range(ROUNDS):
            for name, path in paths.items():
                found[name].append(rate(server, path, seconds))
                say(f"{name}: {found[name][-1]:.1f} answers a second")
    one_row, pairings = (tuple(rates) for rates in found.values())
    return Figures(one_row, pairings)


def rate(server: Server, path: str, seconds: float) -> float:
    """Answers a second, asked for as fast as they come; each client asks once at least."""
    started = time.perf_counter()

    def asked(_client: int) -> int:
        count = 0
        while count == 0 or time.perf_counter() < started + seconds:
            server.ask(path)
            count += 1
        return count

    with ThreadPoolExecutor(CLIENTS) as clients:
        total = sum(clients.map(asked, range(CLIENTS)))
    return total / (time.perf_counter() - started)
