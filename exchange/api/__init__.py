"""The HTTP API: plumbing here, one file a resource under ``v1``."""
