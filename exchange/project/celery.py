"""The Celery application: JSON only, tasks acknowledged early, never run in the caller's process."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "exchange.project.settings")

app = Celery("exchange", task_cls="exchange.project.task:TracedTask")
app.config_from_object("django.conf:settings", namespace="CELERY")
