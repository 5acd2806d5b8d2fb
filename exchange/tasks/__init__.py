"""Celery tasks: thin, named for good, given ids only, called through ``after_commit`` or by beat."""

from exchange.tasks import due, matching

__all__ = ["due", "matching"]
