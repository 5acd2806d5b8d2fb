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
from exchange.project.log import FORMATS, configure_structlog, log_settings

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
WEBHOOK_TEST_ADDRESS = environment.host_and_port("WEBHOOK_TEST_ADDRESS")

# Every service has these; tests of workers have a REDIS_URL of their own.
for name in ("SECRET_KEY", "ADDRESS_KEYS", "ALLOWED_HOSTS"):
    if UNDER_TEST and environment.secret(name):
        raise SettingError(
            f"UNDER_TEST is set together with {name}; it is for the test suite alone: remove it."
        )
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
if SERVICE_MODE and WEBHOOK_TEST_ADDRESS:
    raise SettingError(
        "WEBHOOK_TEST_ADDRESS is set together with DATABASE_URL; a service sends to public addresses only:"
        " remove it."
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

# Where people reach it: at the beginning of links in messages, which no request tells.
PUBLIC_ADDRESS = environment.web_address(
    "PUBLIC_ADDRESS",
    f"https://{ALLOWED_HOSTS[0]}" if SERVICE_MODE else "http://localhost:8000",
    ("https",) if SERVICE_MODE else ("http", "https"),
)

# --- Django ---

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "knox",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "growers",
    "exchange",
    "exchange.web",
]
MIDDLEWARE = [
    "exchange.api.request_id.RequestIdMiddleware",
    "exchange.api.security.SecurityHeaderMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.http.ConditionalGetMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "exchange" / "api" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    }
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

# --- accounts: django-allauth's plain pages; its tables keep no clear secret ---

AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
ACCOUNT_ADAPTER = "exchange.api.account.AccountAdapter"
ACCOUNT_SIGNUP_FORM_CLASS = "exchange.api.account.HandleForm"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "mandatory"
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = True
ACCOUNT_CHANGE_EMAIL = True
# Who loses an address, a password or a second factor to somebody else is told so by mail.
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_REAUTHENTICATION_TIMEOUT = 300
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
MFA_ADAPTER = "exchange.api.account.SecondFactorAdapter"
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes"]
MFA_TOTP_ISSUER = "Pollen exchange"
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/api/v1/docs"
ACCOUNT_LOGOUT_REDIRECT_URL = "/api/v1/docs"

# --- mail: by the server named, else to files ---

MAIL_SERVER = environment.mail_server("EMAIL_URL")
EMAIL_BACKEND = MAIL_SERVER.get("EMAIL_BACKEND", "django.core.mail.backends.filebased.EmailBackend")
EMAIL_FILE_PATH = str(DATA_DIR / "mail")
EMAIL_HOST = MAIL_SERVER.get("EMAIL_HOST", "localhost")
EMAIL_PORT = MAIL_SERVER.get("EMAIL_PORT", 25)
EMAIL_HOST_USER = MAIL_SERVER.get("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = MAIL_SERVER.get("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_TLS = MAIL_SERVER.get("EMAIL_USE_TLS", False)
EMAIL_USE_SSL = MAIL_SERVER.get("EMAIL_USE_SSL", False)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = SERVER_EMAIL = environment.text("MAIL_FROM", "pollen-exchange@localhost")

# --- security headers and cookies ---

PROXIES = environment.whole_number("PROXIES", 0, 0, 5)
ALLAUTH_TRUSTED_PROXY_COUNT = PROXIES
SECURE_SSL_REDIRECT = SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SERVICE_MODE
# Whoever watches the machine asks it directly, without TLS.
SECURE_REDIRECT_EXEMPT = ["^health/"]
if PROXIES:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_HSTS_SECONDS = 31_536_000 if SERVICE_MODE else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SERVICE_MODE
SECURE_REFERRER_POLICY = "same-origin"
# The preload list binds a whole domain for years: that is its owner's to decide, not ours.
SILENCED_SYSTEM_CHECKS = ["security.W021"]
SESSION_ENGINE = "exchange.api.session"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "exchange.api.failure.csrf_failure"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "manifest-src": ["'self'"],
        "worker-src": ["'self'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
        "base-uri": ["'none'"],
        "object-src": ["'none'"],
    }
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 1_048_576

# --- files of pages, served by the server itself ---

STATIC_URL = "/static/"

STATICFILES_DIRS = [BASE_DIR / "exchange" / "api" / "static"]
WHITENOISE_USE_FINDERS = True

# --- cache: counters and what may be lost; Redis away costs speed only ---

CACHES: dict[str, dict[str, Any]] = {
    "default": {
        "BACKEND": "exchange.project.cache.ForgivingRedisCache"
        if REDIS_URL
        else "django.core.cache.backends.locmem.LocMemCache",
        "LOCATION": REDIS_URL or "pollen-exchange",
    }
}
# What a matching run need not reckon again. Without Redis in files: every command is a process of its own.
CACHES["reckoned"] = {
    "BACKEND": "django.core.cache.backends.filebased.FileBasedCache",
    "LOCATION": str(DATA_DIR / "reckoned"),
    "OPTIONS": {"MAX_ENTRIES": 10_000},
}
if REDIS_URL:
    CACHES["reckoned"] = CACHES["default"]

# --- API ---

KNOX_TOKEN_MODEL = "exchange.ApiToken"  # noqa: S105 - the name of a model
# Its own table is swapped out, so none of its migrations is ours to run.
MIGRATION_MODULES = {"knox": None}
REST_KNOX = {"TOKEN_PREFIX": "pollen_", "AUTH_HEADER_PREFIX": "Bearer", "TOKEN_TTL": None}
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "exchange.api.authentication.BearerAuthentication",
        "exchange.api.authentication.PageSessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["exchange.api.permissions.OperationPermission"],
    "DEFAULT_THROTTLE_CLASSES": ["exchange.api.throttle.RequestThrottle"],
    "DEFAULT_RENDERER_CLASSES": ["exchange.api.media.JsonRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_CONTENT_NEGOTIATION_CLASS": "exchange.api.media.JsonOnly",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "exchange.api.errors.problem_response",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "NUM_PROXIES": PROXIES,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Pollen exchange",
    "DESCRIPTION": "Growers of water lilies offer pollen and look for it.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": True,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "ENUM_NAME_OVERRIDES": {
        "Group": "growers.models.Group.choices",
        "Diel": "growers.models.Diel.choices",
        "Fertility": "growers.models.Fertility.choices",
        "RegionLevel": "growers.models.site.Site.RegionLevel",
        "SeasonPrecision": "growers.models.bloom.BloomSeason.Precision",
        "Scope": [("read", "Read"), ("write", "Write"), ("feed", "Feed")],
        "Treatment": "exchange.models.offer.Treatment",
        "AssayMethod": "exchange.models.assay.Assay.Method",
        "CustodyKind": "exchange.models.custody_event.CustodyEvent.Kind",
        "IncidentKind": "exchange.models.incident.Incident.Kind",
        "StoreKind": "exchange.models.store.Store.Kind",
        "LotState": "exchange.models.lot.Lot.State",
        "AgreementRole": [("donor", "donor"), ("recipient", "recipient")],
        "RecallKind": "exchange.models.recall.Recall.Kind",
        "LoggerDecimalMark": [("point", "point"), ("comma", "comma")],
        "LotRole": [("owner", "owner"), ("partner", "partner")],
        "CustodyBy": [("you", "you"), ("other", "other")],
        "TreatmentByPost": [("fresh", "Fresh"), ("dried", "Dried")],
        "OfferKind": "exchange.models.offer.Offer.Kind",
        "SightingKind": "growers.models.bloom.BloomSighting.Kind",
        "OpenState": "exchange.models.offer.OpenState",
        "PairingState": "exchange.models.pairing.Pairing.State",
        "MatchingOrderState": "exchange.models.matching_order.MatchingOrder.State",
        "TermCode": "exchange.wording.term.CODES",
        "WebhookState": "exchange.models.webhook.Webhook.State",
        "WebhookDeliveryState": "exchange.models.webhook_delivery.WebhookDelivery.State",
        "NotificationCode": "exchange.models.notification.Notification.Kind",
        "BorderNoteKind": "exchange.models.border_note.BorderNote.Kind",
        "ParcelOrigin": "exchange.models.papers_statement.PapersStatement.Origin",
        "ParcelRights": "exchange.models.papers_statement.PapersStatement.Rights",
        "OriginEnum": "growers.models.plant.Plant.Origin",
        "RightsEnum": "growers.models.plant.Plant.Rights",
        "SaidPrecision": "growers.models.bloom.BloomSaid.Precision",
        "DatePrecision": [("season", "season"), ("days", "days"), ("clock", "clock")],
    },
    "WEBHOOKS": [
        "exchange.api.v1.webhook.proposed",
        "exchange.api.v1.webhook.changed",
        "exchange.api.v1.webhook.withdrawn",
        "exchange.api.v1.webhook.agreement",
        "exchange.api.v1.webhook.still_true",
        "exchange.api.v1.webhook.paused",
        "exchange.api.v1.webhook.lot",
        "exchange.api.v1.webhook.recall",
    ],
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "exchange.api.schema.finish_document",
    ],
    "DISABLE_ERRORS_AND_WARNINGS": False,
}
# Generous under test: what a limit does is tested with limits of its own.
LIMIT_FACTOR = 1_000 if UNDER_TEST else 1
REQUESTS_PER_MINUTE = environment.whole_number("REQUESTS_PER_MINUTE", 600, 1, 1_000_000) * LIMIT_FACTOR
GUEST_REQUESTS_PER_MINUTE = (
    environment.whole_number("GUEST_REQUESTS_PER_MINUTE", 120, 1, 1_000_000) * LIMIT_FACTOR
)
SIGN_INS_PER_MINUTE = environment.whole_number("SIGN_INS_PER_MINUTE", 10, 1, 1_000) * LIMIT_FACTOR
TRY_OUTS_PER_MINUTE = environment.whole_number("TRY_OUTS_PER_MINUTE", 10, 1, 1_000) * LIMIT_FACTOR

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
# A worker waits for its broker as long as it takes; after Celery's 100 attempts it would end for good.
CELERY_BROKER_CONNECTION_MAX_RETRIES = None
# Whoever starts a task must not wait for a broker that is away: the sweep catches up.
CELERY_BROKER_TRANSPORT_OPTIONS = {"socket_connect_timeout": 2, "socket_timeout": 10, "max_retries": 0}
CELERY_TASK_PUBLISH_RETRY = False
CELERY_TASK_SERIALIZER = "json"
CELERY_RESULT_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = False
CELERY_TASK_TIME_LIMIT = 600
CELERY_TIMEZONE = "UTC"
# A worker would write lines of its own form past ours, with the texts of errors unredacted.
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "celerybeat-schedule")
CELERY_BEAT_SCHEDULE = {
    "what is due": {"task": "exchange.due.sweep", "schedule": 60.0, "options": {"expires": 55}},
}

# --- log ---

LOG_LEVEL = environment.choice("LOG_LEVEL", "WARNING", ("DEBUG", "INFO", "WARNING", "ERROR"))
LOGGING = log_settings(
    LOG_LEVEL, environment.choice("LOG_FORMAT", "json" if SERVICE_MODE else "line", FORMATS)
)
configure_structlog()
