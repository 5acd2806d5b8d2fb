"""The application and the worker as processes beside a test run them: on the database of the test.

Limits are as low as a society's, not a thousand times as high as under test.
"""

import os

from django.conf import settings

settings.DATABASES["default"]["NAME"] = os.environ["SERVED_DATABASE"]
for limit in ("REQUESTS_PER_MINUTE", "GUEST_REQUESTS_PER_MINUTE"):
    setattr(settings, limit, getattr(settings, limit) // settings.LIMIT_FACTOR)

from exchange.project.celery import app  # noqa: E402 - the database is named first
from exchange.project.wsgi import application  # noqa: E402

__all__ = ["app", "application"]
