"""The cache of service mode: Redis, or this process alone while Redis is away."""

import logging
from collections.abc import Callable
from typing import Any

from django.core.cache.backends.base import DEFAULT_TIMEOUT
from django.core.cache.backends.locmem import LocMemCache
from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

log = logging.getLogger(__name__)


class ForgivingRedisCache(RedisCache):
    """Counts on in this process's memory while Redis cannot be reached.

    Limits are then kept by each process for itself, and a second-factor code once used in one process
    is not known to the others; a request never fails for it.
    """

    def __init__(self, server: str, params: dict[str, Any]) -> None:
        options = {**params.get("OPTIONS", {}), "socket_connect_timeout": 1, "socket_timeout": 1}
        super().__init__(server, {**params, "OPTIONS": options})
        self.memory = LocMemCache("while-redis-is-away", {})

    def or_memory(self, name: str, ask: Callable[[], Any], *args: Any) -> Any:
        """What Redis answers, or else what this process remembers."""
        try:
            return ask()
        except RedisError as error:
            log.warning("The cache is away (%s); this process remembers by itself.", type(error).__name__)
            return getattr(self.memory, name)(*args)

    def add(self, key: Any, value: Any, timeout: Any = DEFAULT_TIMEOUT, version: int | None = None) -> bool:
        """Set a key that is not set."""
        ask = super().add
        added = self.or_memory("add", lambda: ask(key, value, timeout, version), key, value, timeout, version)
        return bool(added)

    def get(self, key: Any, default: Any = None, version: int | None = None) -> Any:
        """The value of a key."""
        ask = super().get
        return self.or_memory("get", lambda: ask(key, default, version), key, default, version)

    def set(self, key: Any, value: Any, timeout: Any = DEFAULT_TIMEOUT, version: int | None = None) -> None:
        """Set a key."""
        ask = super().set
        self.or_memory("set", lambda: ask(key, value, timeout, version), key, value, timeout, version)

    def touch(self, key: Any, timeout: Any = DEFAULT_TIMEOUT, version: int | None = None) -> bool:
        """Let a key last longer."""
        ask = super().touch
        return bool(self.or_memory("touch", lambda: ask(key, timeout, version), key, timeout, version))

    def delete(self, key: Any, version: int | None = None) -> bool:
        """Forget a key."""
        ask = super().delete
        return bool(self.or_memory("delete", lambda: ask(key, version), key, version))

    def incr(self, key: Any, delta: int = 1, version: int | None = None) -> int:
        """Count a key up."""
        ask = super().incr
        return int(self.or_memory("incr", lambda: ask(key, delta, version), key, delta, version))
