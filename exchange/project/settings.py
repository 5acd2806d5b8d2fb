"""Settings: one file, every value from the environment; a wrong value stops the start.

*Embedded* (no ``DATABASE_URL``): SQLite and keys in ``DATA_DIR``, no other service. *Service*
(``DATABASE_URL`` and ``REDIS_URL``): PostgreSQL, Redis, keys from the environment. ``UNDER_TEST`` is
for the test suite alone: it allows PostgreSQL without Redis, a moved clock and a fast password hash.
"""

from pathlib import Path
from typing import Any

from exchange.project.environment import Environment, SettingError
from exchange.project.keys import (
    check_address_keys,
    check_secret_key,
    kept_secret,
    make_address_key,
    make_secret_key,
    private_folder,
    service_secret,
)

BASE_DIR = Path(__file__).resolve().parent.parent.parent
environment = Environment()

# --- how it runs ---

DATABASE = environment.database("DATABASE_URL")
REDIS_URL = environment.redis_url("REDIS_URL")
UNDER_TEST = environment.flag("UNDER_TEST")
SERVICE_MODE = bool(DATABASE) and not UNDER_TEST
TASKS_BY_BROKER = bool(REDIS_URL)
DEBUG = environment.flag("DEBUG")
CLOCK_OFFSET_FILE = environment.text("CLOCK_OFFSET_FILE")

if SERVICE_MODE and not REDIS_URL:
    raise SettingError(
        "DATABASE_URL is set and REDIS_URL is not; set both (service), or neither (embedded, SQLite)."
    )
if REDIS_URL and not DATABASE:
    raise SettingError(
        "REDIS_URL is set and DATABASE_URL is not; set both (service), or neither (embedded, SQLite)."
    )
if SERVICE_MODE and CLOCK_OFFSET_FILE:
    raise SettingError(
        "CLOCK_OFFSET_FILE is set together with DATABASE_URL; a service must run on the true clock."
    )
if SERVICE_MODE and DEBUG:
    raise SettingError(
        "DEBUG is true together with DATABASE_URL; a service must not show its inside: remove DEBUG."
    )

# --- where it keeps what it writes, and its keys ---

DATA_DIR = private_folder("DATA_DIR", environment.path("DATA_DIR", BASE_DIR / ".data"))
if SERVICE_MODE:
    SECRET_KEY = check_secret_key(service_secret(environment, "SECRET_KEY"))
    ADDRESS_KEYS = check_address_keys(service_secret(environment, "ADDRESS_KEYS"))
    ALLOWED_HOSTS = environment.words("ALLOWED_HOSTS")
    if not ALLOWED_HOSTS:
        raise SettingError(
            "ALLOWED_HOSTS is not set; with DATABASE_URL, name the hosts of the pages, e.g. pollen.example."
        )
else:
    SECRET_KEY = check_secret_key(
        environment.secret("SECRET_KEY") or kept_secret(DATA_DIR / "secret_key", make_secret_key())
    )
    ADDRESS_KEYS = check_address_keys(
        environment.secret("ADDRESS_KEYS") or kept_secret(DATA_DIR / "address_keys", make_address_key())
    )
    ALLOWED_HOSTS = environment.words("ALLOWED_HOSTS", ("localhost", "127.0.0.1", "[::1]"))

# --- Django ---

INSTALLED_APPS = ["django.contrib.auth", "django.contrib.contenttypes", "growers", "exchange"]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
]
ROOT_URLCONF = "exchange.project.urls"
WSGI_APPLICATION = "exchange.project.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "growers.Grower"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
if UNDER_TEST:
    PASSWORD_HASHERS.insert(0, "django.contrib.auth.hashers.MD5PasswordHasher")
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("UserAttributeSimilarityValidator", "MinimumLengthValidator", "CommonPasswordValidator")
]

USE_TZ = True
TIME_ZONE = "UTC"
USE_I18N = True
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "exchange" / "wording" / "locale"]

# --- database ---

DATABASE_WAIT_SECONDS = 20
MIGRATION_LOCK_WAIT_SECONDS = 4
SQLITE: dict[str, Any] = {
    "ENGINE": "django.db.backends.sqlite3",
    "NAME": DATA_DIR / "exchange.sqlite3",
    # A file also under test: a memory database knows neither WAL nor two connections.
    "TEST": {"NAME": DATA_DIR / "test.sqlite3"},
    "OPTIONS": {
        # A transaction that reads first and writes later cannot wait for its turn: SQLite refuses it at once.
        "transaction_mode": "IMMEDIATE",
        "timeout": DATABASE_WAIT_SECONDS,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    },
}
POSTGRESQL: dict[str, Any] = {
    **DATABASE,
    "CONN_MAX_AGE": environment.whole_number("DATABASE_CONNECTION_SECONDS", 600, 0, 86_400),
    "CONN_HEALTH_CHECKS": True,
}
DATABASES = {"default": {**(POSTGRESQL if DATABASE else SQLITE), "ATOMIC_REQUESTS": False}}

# --- tasks ---

CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
# Whoever starts a task must not wait for a broker that is away: the sweep catches up.
CELERY_BROKER_TRANSPORT_OPTIONS = {"socket_connect_timeout": 2, "socket_timeout": 10}
CELERY_TASK_PUBLISH_RETRY = False
CELERY_TASK_SERIALIZER = "json"
CELERY_RESULT_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = False
CELERY_TASK_TIME_LIMIT = 600
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "celerybeat-schedule")
CELERY_BEAT_SCHEDULE = {
    "what is due": {"task": "exchange.due.sweep", "schedule": 60.0, "options": {"expires": 55}},
}

# --- log ---

LOG_LEVEL = environment.choice("LOG_LEVEL", "WARNING", ("DEBUG", "INFO", "WARNING", "ERROR"))
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": LOG_LEVEL},
}
