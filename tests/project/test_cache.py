"""The cache of service mode: Redis, and this process alone while Redis is away."""

import pytest

from exchange.benchmarks.servers import PrivateRedis, ServerMissing
from exchange.project.cache import ForgivingRedisCache
from tests.requirement import missing


def used(cache: ForgivingRedisCache) -> list[object]:
    """What the calls that counters and second factors make give."""
    first = [cache.add("count", 1, 60), cache.add("count", 1, 60), cache.incr("count")]
    cache.set("word", "lily", 60)
    then = [cache.get("word"), cache.touch("word", 60), cache.delete("word"), cache.get("word", "gone")]
    return first + then


EXPECTED = [True, False, 2, "lily", True, True, "gone"]


def test_it_works_with_redis_and_goes_on_without(caplog: pytest.LogCaptureFixture) -> None:
    try:
        with PrivateRedis() as address:
            cache = ForgivingRedisCache(address, {})
            assert used(cache) == EXPECTED
            cache.set("only-in-redis", 1)
    except ServerMissing as error:
        missing(str(error))
    assert caplog.records == []
    assert cache.get("only-in-redis") is None
    assert used(cache) == EXPECTED
    assert "The cache is away" in caplog.text


def test_a_server_that_never_was_is_borne() -> None:
    assert used(ForgivingRedisCache("redis://127.0.0.1:9/0", {"LOCATION": ""})) != []
