"""Settings of the server that is measured: those of a service, with one address more."""

from exchange.project.settings import *  # noqa: F403

ROOT_URLCONF = "exchange.benchmarks.api_urls"
