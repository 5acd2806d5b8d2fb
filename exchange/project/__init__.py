"""The running project: settings, addresses, Celery and WSGI entry points.

The Celery application is loaded with the settings, so that tasks are bound in every process.
"""

from exchange.project.celery import app as celery_app

__all__ = ["celery_app"]
