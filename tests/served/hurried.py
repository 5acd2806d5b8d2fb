"""The application for a beat that asks for a look at what is due every second."""

from tests.served.application import app

for entry in app.conf.beat_schedule.values():
    entry["schedule"] = 1.0

__all__ = ["app"]
