"""Settings, read from the environment; every variable has a default that needs nothing installed but Python.

Unset, the project runs on SQLite with jobs in process. `DATABASE_URL` moves it to PostgreSQL, `REDIS_URL` moves the
jobs to Celery workers. A malformed value stops the start with a sentence.
"""

import struct
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlsplit

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from accounts.language import catalogue_of, load

BASE_DIR = Path(__file__).resolve().parents[2]
DATA_DIR = BASE_DIR / ".data"

env = environ.Env()


def _flag(name: str, default: bool) -> bool:
    """Read an on/off variable, refusing anything that is neither."""
    text = env.str(name, default="on" if default else "off").strip().lower()
    if text in {"1", "true", "yes", "on"}:
        return True
    if text in {"0", "false", "no", "off", ""}:
        return False
    raise ImproperlyConfigured(f"{name} is '{text}': write on or off.")


def _url(name: str, schemes: tuple[str, ...]) -> str:
    """Read an address, refusing one whose scheme the project cannot use."""
    text = env.str(name, default="").strip()
    if text and not text.startswith(tuple(f"{scheme}://" for scheme in schemes)):
        raise ImproperlyConfigured(f"{name} is '{text}': it must start with {' or '.join(s + '://' for s in schemes)}.")
    return text


def _seconds(name: str, default: int) -> int:
    """Read a duration, refusing anything but a whole number of seconds above zero."""
    text = env.str(name, default=str(default)).strip()
    if not text.isdecimal() or int(text) == 0:
        raise ImproperlyConfigured(f"{name} is '{text}': write a whole number of seconds above zero.")
    return int(text)


def _count(name: str, default: int) -> int:
    """Read a number of things, refusing anything but a whole number from zero up."""
    text = env.str(name, default=str(default)).strip()
    if not text.isdecimal():
        raise ImproperlyConfigured(f"{name} is '{text}': write a whole number, 0 or more.")
    return int(text)


DEBUG = _flag("DEBUG", default=False)

# The built-in key signs sessions and links on a developer's machine only, for everybody can read it here: a server that
# others reach needs a key of its own. What the settings say of one is refused at the start; who comes from elsewhere to
# a server whose settings say nothing is refused at the door (`accounts.http.own_key`).
_DEVELOPMENT_KEY = "development-only-key-never-for-a-public-address"
_LOOPBACK = {"localhost", "127.0.0.1", "[::1]", "testserver"}
SECRET_KEY = env.str("SECRET_KEY", default="").strip() or _DEVELOPMENT_KEY
HAS_OWN_KEY = SECRET_KEY != _DEVELOPMENT_KEY
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=sorted(_LOOPBACK))
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "knox",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "csp",
    "django_htmx",
    "leaflet",
    "accounts",
    "accounts.jobs",
    "accounts.webhooks",
    "fleet",
    "scheduling",
]

MIDDLEWARE = [
    # Around all others, so that every answer and every log line has the name of its request.
    "accounts.observing.requests.RequestIds",
    "accounts.observing.metrics.CountsRequests",
    "accounts.wall.WallMiddleware",
    "accounts.http.own_key.OwnKeyMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "accounts.http.compressing.CompressedFiles",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "accounts.http.idle.IdleSessionMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]

# Where the map of the rounds has its picture of the land from: 'https://host/{z}/{x}/{y}.png'; unset, it has none, and
# no browser asks anybody for anything. What the source wants said of it stands under the map.
MAP_TILES_URL = _url("MAP_TILES_URL", ("http", "https"))
MAP_TILES_CREDIT = env.str("MAP_TILES_CREDIT", default="").strip()
_TILES_HOST = ["{0.scheme}://{0.netloc}".format(urlsplit(MAP_TILES_URL))] if MAP_TILES_URL else []

# A page has no code and no styles but those of files of its own server. A view that must say something else does.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:", "blob:", *_TILES_HOST],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
CSRF_FAILURE_VIEW = "accounts.pages.problems.forbidden"

ROOT_URLCONF = "fleet.config.urls"
WSGI_APPLICATION = "fleet.config.wsgi.application"
ASGI_APPLICATION = "fleet.config.asgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "accounts.pages.context.page_context",
            ]
        },
    }
]

_database_url = _url("DATABASE_URL", ("sqlite", "postgres", "postgresql"))
if _database_url and not _database_url.startswith("sqlite"):
    DATABASES = {"default": env.db_url_config(_database_url)}
    # Tells a connection for which company it works, where the database asks (`accounts.wall`).
    DATABASES["default"]["ENGINE"] = "fleet.config.postgresql"
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
else:
    DATABASES = {
        "default": env.db_url_config(_database_url) if _database_url else {"NAME": str(DATA_DIR / "fleet.sqlite3")}
    }
    # Refuses a row lock outside a transaction, as PostgreSQL does.
    DATABASES["default"]["ENGINE"] = "fleet.config.sqlite"
    # WAL lets readers go on while one writer works; immediate transactions wait for their turn at the start instead of
    # failing half way when a read turns into a write.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    }
    if not _database_url:
        try:
            DATA_DIR.mkdir(exist_ok=True)
        except OSError as error:
            raise ImproperlyConfigured(
                f"{DATA_DIR} cannot be made ({error.strerror}): run as the user who owns this directory, or name a "
                "database elsewhere, as DATABASE_URL=sqlite:////home/you/fleet.sqlite3."
            ) from error

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "accounts.User"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

# A browser that nobody used for so long is signed out, and one that is used is, all the same, after so many days.
SESSION_COOKIE_AGE = _seconds("SESSION_IDLE_SECONDS", default=12 * 3600)
LONGEST_SESSION = timedelta(days=14)

# How long the link of a letter chooses a password or proves an address.
PASSWORD_RESET_TIMEOUT = _seconds("LINK_SECONDS", default=2 * 3600)

# What people read is spoken through accounts.language, in English until a catalogue lies in LOCALE_DIR. Sentences are
# stored with what they explain, so a server speaks one language; the choice of each request (USE_I18N) would mix two.
LANGUAGE_CODE = env.str("LANGUAGE_CODE", default="en").strip() or "en"
LOCALE_DIR = Path(env.str("LOCALE_DIR", default=str(DATA_DIR / "locale")))
try:
    load(LANGUAGE_CODE, LOCALE_DIR)
except (OSError, ValueError, struct.error) as error:
    raise ImproperlyConfigured(
        f"LANGUAGE_CODE is '{LANGUAGE_CODE}': there must be a compiled catalogue at "
        f"{catalogue_of(LANGUAGE_CODE, LOCALE_DIR)}, in the folder LOCALE_DIR; make one of what `manage.py texts` "
        "prints, or write en."
    ) from error
TIME_ZONE = "UTC"
USE_TZ = True

# A body in JSON may hold a list of as many readings as are taken at once, each with all its values and words; a file is
# no part of this.
DATA_UPLOAD_MAX_MEMORY_SIZE = 20_000_000
USE_I18N = False
STATIC_URL = "static/"
# A redirect would turn a POST without its last slash into a GET; such an address is answered with a sentence instead.
APPEND_SLASH = False
# Behind HTTPS, cookies of a session must never travel without it, and whoever comes without it is sent there; browsers
# remember that for a year, of this name alone: what runs under others is not ours to say.
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = _flag("HTTPS_ONLY", default=False)
# Whoever asks whether the server is alive stands beside it, before any HTTPS.
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$", r"^metrics$"]
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if SECURE_SSL_REDIRECT else 0
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
# Of what each role's tokens and browsers may ask for in a minute (`accounts.services.budgets`); 0: nothing is counted.
REQUEST_BUDGET_PERCENT = _count("REQUEST_BUDGET_PERCENT", default=100)
TRUSTED_PROXIES = _count("TRUSTED_PROXIES", default=0)
if TRUSTED_PROXIES:
    # Only what a proxy of ours writes is believed: anybody else can send the header, too.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
# The application serves the files of its own pages, with and without DEBUG: nothing has to be collected first.
WHITENOISE_USE_FINDERS = True

REDIS_URL = _url("REDIS_URL", ("redis", "rediss", "unix"))
# The queue's library has a name of its own for a socket file.
CELERY_BROKER_URL = REDIS_URL.replace("unix://", "redis+socket://", 1) or "memory://localhost/"
# Results live in the Job rows that people can see, so Celery keeps none.
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ALWAYS_EAGER = not REDIS_URL
CELERY_TASK_EAGER_PROPAGATES = True
# A task is acknowledged when it is done: a worker that dies hands its task back to the queue.
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": _seconds("JOB_VISIBILITY_SECONDS", default=3600),
    "socket_connect_timeout": 2,
}
# Somebody waits for the answer while a task is put on the queue: a queue that is away is given up soon.
CELERY_TASK_PUBLISH_RETRY_POLICY = {"max_retries": 2, "interval_start": 0.1, "interval_step": 0.1, "interval_max": 0.2}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
# How long a claimed piece of work stays with a worker that gives no sign of life before another may take it over.
JOB_LEASE_SECONDS = _seconds("JOB_LEASE_SECONDS", default=45)

# Unset, e-mails are written to the terminal and nobody gets one. A server that hangs must not hold a worker for ever.
EMAIL_URL = _url("EMAIL_URL", ("consolemail", "smtp", "smtp+tls", "smtp+ssl")) or "consolemail://"
vars().update(env.email_url_config(EMAIL_URL))
# Where clients reach this server with a browser; links in letters begin with it. Unset, letters have no links.
PUBLIC_URL = _url("PUBLIC_URL", ("http", "https")).rstrip("/")
_says_public = {
    "ALLOWED_HOSTS names a public host": not set(ALLOWED_HOSTS) <= _LOOPBACK,
    "PUBLIC_URL names a public host": urlsplit(PUBLIC_URL).hostname not in {None, "localhost", "127.0.0.1", "::1"},
    "TRUSTED_PROXIES is set": TRUSTED_PROXIES > 0,
    "HTTPS_ONLY is on": SECURE_SSL_REDIRECT,
}
if not HAS_OWN_KEY and not DEBUG and any(_says_public.values()):
    raise ImproperlyConfigured(
        f"SECRET_KEY is not set, and {next(words for words, says in _says_public.items() if says)}: give it 50 or more "
        "random characters, and keep them to this server."
    )
EMAIL_TIMEOUT = _seconds("EMAIL_TIMEOUT_SECONDS", default=20)
DEFAULT_FROM_EMAIL = env.str("EMAIL_FROM", default="service@localhost")
# Hosts, as 'localhost:9000', to which events may go without HTTPS and inside the server's own network: for development
# alone. All others must be open to everybody (`accounts.webhooks.places`).
WEBHOOK_LOCAL_HOSTS = [host.strip().lower() for host in env.list("WEBHOOK_LOCAL_HOSTS", default=[])]
# Where driving times are asked for: the address of a table, to which places are added. Only the server's own settings
# may name it, so that nobody can make the server ask addresses of its own network.
TABLE_SERVICE_URL = _url("TABLE_SERVICE_URL", ("http", "https"))
TABLE_SERVICE_TIMEOUT_SECONDS = _seconds("TABLE_SERVICE_TIMEOUT_SECONDS", default=5)
# A class that finds addresses, as `fleet.services.units.geocoding.Geocoder` says; unset, none is asked.
GEOCODER = env.str("GEOCODER", default="").strip()
if GEOCODER and not ("." in GEOCODER and all(part.isidentifier() for part in GEOCODER.split("."))):
    raise ImproperlyConfigured(f"GEOCODER is '{GEOCODER}': write the dotted path of a class, such as package.Geocoder.")

# A class that sends text messages, as `scheduling.services.people.senders.TextSender` says; unset, none is sent.
TEXT_SENDER = env.str("TEXT_SENDER", default="").strip()
if TEXT_SENDER and not ("." in TEXT_SENDER and all(part.isidentifier() for part in TEXT_SENDER.split("."))):
    raise ImproperlyConfigured(
        f"TEXT_SENDER is '{TEXT_SENDER}': write the dotted path of a class, such as package.TextSender."
    )

# A TrueType file for printed sheets, where neither the system's DejaVu nor the Latin font of the library will do.
PDF_FONT = env.str("PDF_FONT", default="")
if PDF_FONT and not Path(PDF_FONT).is_file():
    raise ImproperlyConfigured(f"PDF_FONT is '{PDF_FONT}': name a TrueType file that is there.")

# Pictures of the work. Nothing serves this folder: they are read through the API, by those who may see their report.
MEDIA_ROOT = env.str("FILES_DIR", default=str(DATA_DIR / "files"))
MEDIA_URL = ""

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "accounts.http.authentication.TokenAuthentication",
        "accounts.http.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["accounts.http.permissions.RolePermission"],
    "DEFAULT_RENDERER_CLASSES": ["accounts.http.renderers.OnceJSONRenderer"],
    # A form reads what is missing as false and what is empty as nothing: only where a file is sent is one taken.
    "DEFAULT_PARSER_CLASSES": ["accounts.http.parsers.StrictJSONParser"],
    "DEFAULT_FILTER_BACKENDS": [
        "accounts.http.filters.StrictFilterBackend",
        "accounts.http.search.StrictSearchFilter",
        "accounts.http.ordering.StrictOrderingFilter",
    ],
    "DEFAULT_PAGINATION_CLASS": "accounts.http.pagination.PagePagination",
    "DEFAULT_SCHEMA_CLASS": "accounts.http.schema.ProblemSchema",
    "DEFAULT_METADATA_CLASS": None,
    # One media type, asked for by the Accept header alone.
    "URL_FORMAT_OVERRIDE": None,
    "EXCEPTION_HANDLER": "accounts.http.problems.problem_response",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    # How many proxies in front of the server write X-Forwarded-For; what lies beyond them, anybody can forge.
    "NUM_PROXIES": TRUSTED_PROXIES,
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
# The model whose rows a logging meter's token can be bound to.
METER_UNIT_MODEL = "fleet.Unit"
KNOX_TOKEN_MODEL = "accounts.AccessToken"
# The library's own table would stay empty beside ours, and would refer to it.
MIGRATION_MODULES = {"knox": None}
REST_KNOX = {
    "TOKEN_TTL": timedelta(days=30),
    "AUTH_HEADER_PREFIX": "Bearer",
    "TOKEN_MODEL": "accounts.AccessToken",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "RO fleet",
    "DESCRIPTION": "Readings, forecasts, service rounds and parts for small reverse-osmosis units.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": True,
    # The documentation page comes from the sidecar package and asks no checking service, so that it opens without
    # internet.
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "validatorUrl": None},
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "accounts.api.descriptions.describe_fields",
        "fleet.api.descriptions.describe_fields",
        "scheduling.api.descriptions.describe_fields",
        "accounts.http.schema.describe_tags",
        "accounts.http.schema.prefer_plain_names",
        "accounts.webhooks.described.describe_webhooks",
        "fleet.config.examples.show_bodies",
    ],
    # Fields of the same name with different words need names of their own in the description.
    "ENUM_NAME_OVERRIDES": {
        "MemberRoleEnum": "accounts.models.Membership.Role",
        "CatalogueItemKindEnum": "fleet.models.CatalogueItem.Kind",
        "UnitKindEnum": "fleet.models.Unit.Kind",
        "IntakeBatchKindEnum": "fleet.models.IntakeBatch.Kind",
        "StageEnum": "fleet.models.Stage",
        "PositionRoleEnum": "fleet.models.Position.Role",
        "RuleEnum": "fleet.api.diagnosis.RULE_CHOICES",
        "MatterKindEnum": "scheduling.api.attention.KINDS",
        "ReadsEnum": "scheduling.api.wanted_readings.READS",
        "MeasuresEnum": "scheduling.api.wanted_readings.QUANTITIES",
        "RemovalEnum": "fleet.models.Placement.Removal",
        "RemovalReasonEnum": "fleet.api.placements.REMOVAL_REASONS",
        "ReadingStateEnum": "fleet.models.Reading.State",
        "ForecastStateEnum": "fleet.models.Forecast.State",
        "FindingStateEnum": "fleet.models.Finding.State",
        "WebhookEventEnum": "accounts.webhooks.models.Event",
        "SubscribedEventEnum": "accounts.webhooks.models.SUBSCRIBED",
        "WebhookDeliveryStateEnum": "accounts.webhooks.models.WebhookDelivery.State",
        "JobStateEnum": "accounts.jobs.models.Job.State",
        "ReadingSourceEnum": "fleet.models.Reading.Source",
        "NeedKindEnum": "scheduling.models.Need.Kind",
        "NeedStateEnum": "scheduling.models.Need.State",
        "DifferenceKindEnum": "scheduling.api.replanning.DIFFERENCES",
        "DisturbanceKindEnum": "scheduling.api.replanning.DISTURBANCES",
        "InvitationStateEnum": "accounts.api.invitations.STATES",
        "NeedSourceEnum": "scheduling.models.Need.Source",
        "ReadingWayEnum": "scheduling.models.Need.ReadingWay",
        "VisitStateEnum": "scheduling.models.Visit.State",
        "SitePairRuleEnum": "scheduling.models.SitePair.Rule",
        "ServicePhotoKindEnum": "scheduling.models.ServicePhoto.Kind",
        "MessageKindEnum": "scheduling.models.Message.Kind",
        "MessageStateEnum": "scheduling.models.Message.State",
        "MessageAudienceEnum": "scheduling.models.Message.Audience",
        "InvoiceKindEnum": "scheduling.models.Invoice.Kind",
        "InvoiceLineKindEnum": "scheduling.models.InvoiceLine.Kind",
        "SalesPriceKindEnum": "scheduling.models.SalesPrice.Kind",
        "VatEnum": "scheduling.models.Vat",
        "VatOfRateEnum": "scheduling.models.prices.TAXED",
        "PlanStateEnum": "scheduling.models.Plan.State",
        "StockPlaceEnum": "scheduling.models.StockMovement.Place",
    },
}

# Whoever has it reads what is counted on this server, of all companies together; unset, nobody does.
METRICS_TOKEN = env.str("METRICS_TOKEN", default="").strip()
if METRICS_TOKEN and (len(METRICS_TOKEN) < 20 or not (METRICS_TOKEN.isascii() and METRICS_TOKEN.isprintable())):
    raise ImproperlyConfigured("METRICS_TOKEN is too easy to guess: write 20 or more random letters and digits.")

_LOG_LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL")
LOG_LEVEL = env.str("LOG_LEVEL", default="WARNING")
if LOG_LEVEL not in _LOG_LEVELS:
    raise ImproperlyConfigured(f"LOG_LEVEL is '{LOG_LEVEL}': write one of {', '.join(_LOG_LEVELS)}.")
LOG_FORMAT = env.str("LOG_FORMAT", default="line")
if LOG_FORMAT not in {"line", "json"}:
    raise ImproperlyConfigured(f"LOG_FORMAT is '{LOG_FORMAT}': write line or json.")
_RECORD = "{asctime} {levelname} {name} {request_id} {message}"
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {
        "request": {"()": "accounts.observing.logs.NamesTheRequest"},
        "links": {"()": "accounts.observing.logs.HidesLinks"},
    },
    "formatters": {
        "line": {"format": _RECORD, "style": "{"},
        "json": {"()": "pythonjsonlogger.json.JsonFormatter", "format": _RECORD, "style": "{"},
    },
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": LOG_FORMAT, "filters": ["request", "links"]}
    },
    "root": {"handlers": ["console"], "level": LOG_LEVEL},
}

# Where faults that nobody foresaw are reported; unset, nothing leaves this server.
SENTRY_DSN = _url("SENTRY_DSN", ("http", "https"))
if SENTRY_DSN:
    try:
        import sentry_sdk
    except ImportError as error:
        raise ImproperlyConfigured(
            "SENTRY_DSN is set, and the library that reports is not installed: install the extra 'server'."
        ) from error
    from accounts.observing.reports import options

    try:
        sentry_sdk.init(**options(SENTRY_DSN))
    except sentry_sdk.utils.BadDsn as error:
        raise ImproperlyConfigured("SENTRY_DSN must be like https://key@host/number.") from error
