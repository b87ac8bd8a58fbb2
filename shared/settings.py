"""Django settings from the environment, with safe defaults. SQLite and tasks in the process need no other service."""

from __future__ import annotations

import secrets
from datetime import timedelta
from pathlib import Path
from urllib.parse import unquote, urlsplit

import dj_database_url
from csp.constants import NONE, SELF

from shared.common.environment import BadSettingError, flag, listed, text, whole

ROOT = Path(__file__).resolve().parent.parent

DEBUG = flag("BAYWRIGHT_DEBUG")
DEMO = flag("BAYWRIGHT_DEMO")
_DEMO_KEY = "only-for-a-demo-on-this-machine-never-for-the-open-network"
# commands that sign nothing work without a key; wsgi.py and celery_app.py do not start with a generated one
SECRET_KEY = text("BAYWRIGHT_SECRET_KEY") or (_DEMO_KEY if DEBUG or DEMO else secrets.token_urlsafe(64))
MAY_SERVE = bool(text("BAYWRIGHT_SECRET_KEY")) or DEBUG or DEMO
if len(SECRET_KEY) < 50 or (SECRET_KEY == _DEMO_KEY and not (DEBUG or DEMO)):
    raise BadSettingError("BAYWRIGHT_SECRET_KEY needs at least 50 characters of its own.")
SECRET_KEY_FALLBACKS = listed("BAYWRIGHT_SECRET_KEY_FALLBACKS")
if any(len(key) < 50 or (key == _DEMO_KEY and not (DEBUG or DEMO)) for key in SECRET_KEY_FALLBACKS):
    raise BadSettingError("BAYWRIGHT_SECRET_KEY_FALLBACKS: each key needs at least 50 characters of its own.")
ALLOWED_HOSTS = listed("BAYWRIGHT_HOSTS")
PUBLIC_URL = text("BAYWRIGHT_URL").rstrip("/")
if urlsplit(PUBLIC_URL).scheme not in ("http", "https") or not urlsplit(PUBLIC_URL).hostname:
    raise BadSettingError(f"BAYWRIGHT_URL is {PUBLIC_URL!r}: say an http or https address.")
SECURE = PUBLIC_URL.startswith("https://")
if not (SECURE or DEBUG or DEMO or urlsplit(PUBLIC_URL).hostname in ("localhost", "127.0.0.1")):
    raise BadSettingError("BAYWRIGHT_URL must be https on the open network.")
PROXIES = whole("BAYWRIGHT_PROXIES")

INSTALLED_APPS = [
    "shared.apps.AdminConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "rest_framework",
    "drf_spectacular",
    "axes",
    "csp",
    "shared",
    "catalogue",
    "quotes.jobs",
    "quotes.quoting",
    "quotes.documents",
    "quotes.purchasing",
    "quotes.integrations",
    "quotes.accounting",
    "quotes.office",
]

MIDDLEWARE = [
    "shared.common.request_id.RequestIdMiddleware",
    "shared.api.error_handler.ApiProblemMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "shared.web.browser_middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "shared.web.etags.ConditionalGetMiddleware",
    "shared.web.browser_middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "shared.web.complete_body.CompleteFormMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "shared.web.browser_middleware.NoNulMiddleware",
    "shared.web.browser_middleware.AuthenticationMiddleware",
    "shared.members.access.BusinessMiddleware",
    "shared.web.browser_middleware.HtmxMiddleware",
    "shared.web.browser_middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "shared" / "pages" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "csp.context_processors.nonce",
            ]
        },
    }
]

ROOT_URLCONF = "shared.urls"
WSGI_APPLICATION = "shared.wsgi.application"
AUTH_USER_MODEL = "shared.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "sign-in"

# -- data ---------------------------------------------------------------------
_SQLITE_OPTIONS = {
    # with WAL a reader that becomes a writer can fail: IMMEDIATE takes the write lock at once, and timeout waits for it
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
}
DATABASES = {
    "default": dj_database_url.parse(
        text("DATABASE_URL") or f"sqlite:///{ROOT / 'baywright.sqlite3'}", conn_max_age=60, conn_health_checks=True
    )
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = _SQLITE_OPTIONS
elif not DATABASES["default"]["ENGINE"].endswith("postgresql"):
    raise BadSettingError("DATABASE_URL must be a PostgreSQL or SQLite address.")
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
REDIS_URL = text("REDIS_URL")
if REDIS_URL and urlsplit(REDIS_URL).scheme not in ("redis", "rediss", "unix"):
    raise BadSettingError("REDIS_URL must be a redis address.")

# -- tasks: the database stores them, Redis only carries messages ---------------
JOB_LEASE = timedelta(seconds=whole("BAYWRIGHT_JOB_LEASE_S"))
_VISIBILITY_S = whole("BAYWRIGHT_VISIBILITY_S")
_RESTORE_EVERY = whole("BAYWRIGHT_RESTORE_EVERY")
_LONG_RENDER_S = 60
CELERY_BROKER_URL = REDIS_URL or "memory://"
if REDIS_URL:
    CELERY_BROKER_TRANSPORT = "shared.background.celery_app:Transport"
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False  # not used, and a client of Redis could end a worker with it
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": _VISIBILITY_S,
    "unacked_restore_interval": _RESTORE_EVERY,  # with kombu's defaults a lost task came back after 100 s, not after the timeout
    "unacked_restore_throttle": 1,
    "socket_connect_timeout": 1,
    "socket_timeout": 5,
}
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True  # otherwise a killed pool process acknowledges its task, which is then lost
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
# a task is stopped before its lease ends and long before Redis delivers it again, so it never runs twice at the same time
CELERY_TASK_TIME_LIMIT = max(1, min(_VISIBILITY_S // 3 - 1, whole("BAYWRIGHT_JOB_LEASE_S")))
CELERY_TASK_SOFT_TIME_LIMIT = max(1, CELERY_TASK_TIME_LIMIT * 4 // 5)
if CELERY_TASK_TIME_LIMIT < _LONG_RENDER_S and not (DEMO or DEBUG):
    raise BadSettingError(
        f"BAYWRIGHT_JOB_LEASE_S and BAYWRIGHT_VISIBILITY_S leave a task {CELERY_TASK_TIME_LIMIT} s; a long document needs "
        f"{_LONG_RENDER_S}: say at least {_LONG_RENDER_S} and {3 * _LONG_RENDER_S + 3}."
    )
CELERY_WORKER_SOFT_SHUTDOWN_TIMEOUT = 10
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE = {"run_due_tasks": {"task": "shared.tasks.run_due_tasks", "schedule": whole("BAYWRIGHT_SWEEP_S")}}

# -- mail ---------------------------------------------------------------------
_MAIL = urlsplit(text("EMAIL_URL"))
if _MAIL.scheme not in ("", "smtp", "smtps"):
    raise BadSettingError("EMAIL_URL must be smtp:// or smtps://, or empty.")
EMAIL_BACKEND = f"django.core.mail.backends.{'smtp' if _MAIL.scheme else 'console'}.EmailBackend"
EMAIL_HOST = _MAIL.hostname or "localhost"
EMAIL_PORT = _MAIL.port or (465 if _MAIL.scheme == "smtps" else 587)
EMAIL_HOST_USER = unquote(_MAIL.username or "")
EMAIL_HOST_PASSWORD = unquote(_MAIL.password or "")
EMAIL_USE_SSL = _MAIL.scheme == "smtps"
EMAIL_USE_TLS = _MAIL.scheme == "smtp" and bool(EMAIL_HOST_USER)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = SERVER_EMAIL = text("BAYWRIGHT_MAIL_FROM")

# -- API ----------------------------------------------------------------------
RATE_QUOTA = whole("BAYWRIGHT_RATE_QUOTA")
RATE_WINDOW_S = whole("BAYWRIGHT_RATE_WINDOW_S")
BODY_MAX = whole("BAYWRIGHT_BODY_MAX")
DATA_UPLOAD_MAX_MEMORY_SIZE = BODY_MAX
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000
REST_FRAMEWORK = {
    "DEFAULT_RENDERER_CLASSES": ["shared.api.json_formats.JsonRenderer"],
    "DEFAULT_PARSER_CLASSES": ["shared.api.json_formats.StrictJsonParser"],
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "shared.members.access.KeyAuthentication",
        "shared.members.access.SignedInAuthentication",
    ],
    "EXCEPTION_HANDLER": "shared.api.error_handler.answer_exception",
    "DEFAULT_SCHEMA_CLASS": "shared.api.openapi.EndpointSchema",
    "UNAUTHENTICATED_USER": None,
    "URL_FORMAT_OVERRIDE": None,
    "FORMAT_SUFFIX_KWARG": None,  # {format} in a path is a parameter of our own
    "COERCE_DECIMAL_TO_STRING": True,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Baywright",
    "DESCRIPTION": "From a site measure to a delivered fence. Amounts are decimal strings, lengths whole millimetres. "
    "A PATCH merges (RFC 7396): what is left out stays, and null clears what may be cleared.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": r"/api/v1/",
    "SERVERS": [{"url": PUBLIC_URL}],
    "POSTPROCESSING_HOOKS": [
        "shared.api.openapi.describe_everything",
        "quotes.integrations.webhook_openapi.describe_webhooks",
    ],
    "APPEND_COMPONENTS": {
        "securitySchemes": {
            "key": {"type": "http", "scheme": "bearer", "description": "An API key of a business or a supplier."},
            "session": {"type": "apiKey", "in": "cookie", "name": "sessionid"},
        }
    },
}

# -- safety -------------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE
CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]
CSRF_FAILURE_VIEW = "shared.web.page_errors.page_expired"
_A_YEAR_S = 365 * 24 * 3600
HSTS_S = whole("BAYWRIGHT_HSTS_S")
SECURE_HSTS_INCLUDE_SUBDOMAINS = flag("BAYWRIGHT_HSTS_SUBDOMAINS")
SECURE_HSTS_PRELOAD = flag("BAYWRIGHT_HSTS_PRELOAD")
if SECURE_HSTS_PRELOAD and (HSTS_S < _A_YEAR_S or not SECURE_HSTS_INCLUDE_SUBDOMAINS):
    raise BadSettingError(
        f"BAYWRIGHT_HSTS_PRELOAD needs BAYWRIGHT_HSTS_SUBDOMAINS=1 and BAYWRIGHT_HSTS_S of at least {_A_YEAR_S}."
    )
# only the operator knows whether all subdomains use https: Django's advice to include them is a setting
SILENCED_SYSTEM_CHECKS = ["security.W004", "security.W005", "security.W021"]
if SECURE:
    SECURE_HSTS_SECONDS = HSTS_S
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = [r"^api/", r"^healthz$", r"^readyz$"]  # a key sent without encryption must not work
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if PROXIES else None
AXES_VERBOSE = False
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = timedelta(minutes=10)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]  # another client cannot lock a person out
AXES_RESET_ON_SUCCESS = True
AXES_USERNAME_FORM_FIELD = "username"
AXES_HTTP_RESPONSE_CODE = 429
AXES_CLIENT_IP_CALLABLE = "shared.web.rate_limit.client_ip"
AXES_LOCKOUT_CALLABLE = "shared.members.views.locked_out"

# -- language, files, logs ------------------------------------------------------
LANGUAGE_CODE = "en"
USE_TZ = True
TIME_ZONE = "UTC"
STATIC_URL = "/static/"
STATIC_ROOT = ROOT / "static-collected"
STATICFILES_DIRS = [ROOT / "shared" / "pages" / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    # names with a hash; collectstatic adds a compressed copy of each file
    "staticfiles": {"BACKEND": "shared.web.static_files.HashedStorage"},
}
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "shared.web.static_files.HashedNameFinder",
]
# without collectstatic (a demo, tests) the source files are served
WHITENOISE_USE_FINDERS = WHITENOISE_AUTOREFRESH = not (STATIC_ROOT / "staticfiles.json").is_file()
_LEVEL = text("BAYWRIGHT_LOG_LEVEL")
if _LEVEL not in ("DEBUG", "INFO", "WARNING", "ERROR"):
    raise BadSettingError(f"BAYWRIGHT_LOG_LEVEL is {_LEVEL!r}: say DEBUG, INFO, WARNING or ERROR.")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"request_id": {"()": "shared.common.request_id.RequestIdFilter"}},
    "formatters": {"json": {"()": "shared.common.request_id.JsonLines"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json", "filters": ["request_id"]}},
    "root": {"handlers": ["stderr"], "level": _LEVEL},
    "loggers": {
        "django": {"handlers": [], "level": "WARNING", "propagate": True},
        "django.server": {"handlers": [], "level": "ERROR", "propagate": False},
        # our access log already contains every problem response
        "django.request": {"handlers": [], "level": "CRITICAL", "propagate": False},
    },
}
