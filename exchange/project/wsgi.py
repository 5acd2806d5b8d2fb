"""Entry point of WSGI servers: ``gunicorn exchange.project.wsgi``."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "exchange.project.settings")

application = get_wsgi_application()
