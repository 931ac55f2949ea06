"""Settings, from the environment alone.

Without ``DATABASE_URL`` and ``REDIS_URL`` the service runs embedded: SQLite, and jobs drained
inside the web process. With both it runs on PostgreSQL, and Celery on Redis drains the jobs.
"""

from datetime import timedelta
from pathlib import Path
from typing import Any

import django_stubs_ext
from celery.schedules import schedule
from django.core.exceptions import ImproperlyConfigured
from environs import Env, validate

from api.schema_settings import SPECTACULAR_SETTINGS  # noqa: F401
from deploy.observing import logs
from deploy.steady_clock import steady_now

# Django's own classes that its stubs make generic can be subscripted: ``ModelAdmin[Rig]``.
django_stubs_ext.monkeypatch()

env = Env()
BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env.str("SAMESPOOL_VAR", str(BASE_DIR / "var")))

DATABASE_URL = env.str("DATABASE_URL", "")
REDIS_URL = env.str("REDIS_URL", "")
if bool(DATABASE_URL) != bool(REDIS_URL):
    raise ImproperlyConfigured(
        "DATABASE_URL and REDIS_URL go together: set both (PostgreSQL and Redis) or neither "
        "(SQLite, jobs inside the web process)."
    )
EMBEDDED = not DATABASE_URL

DEBUG = env.bool("SAMESPOOL_DEBUG", False)
TRY_KEY = "not-secret-only-for-trying-samespool-on-your-own-machine"
SECRET_KEY = env.str("SAMESPOOL_SECRET_KEY", TRY_KEY if EMBEDDED else "")
if not SECRET_KEY or (SECRET_KEY == TRY_KEY and not EMBEDDED):
    raise ImproperlyConfigured(
        "SAMESPOOL_SECRET_KEY is not set. On PostgreSQL the service starts only with a key of "
        "its own: at least 50 random characters."
    )
# Earlier keys: what they signed is still taken, and signed with the key of today from then on.
SECRET_KEY_FALLBACKS: list[str] = env.list("SAMESPOOL_SECRET_KEY_BEFORE", [])
ALLOWED_HOSTS = env.list("SAMESPOOL_HOSTS", ["127.0.0.1", "localhost", "[::1]", "testserver"])
CSRF_TRUSTED_ORIGINS: list[str] = env.list("SAMESPOOL_ORIGINS", [])

INSTALLED_APPS = [
    "deploy.administration.Administration",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "rest_framework",
    "knox",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "rules",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_structlog",
    "rigs",
    "results",
    "api",
    "deploy.verifying",
]

MIDDLEWARE = [
    "django_prometheus.middleware.PrometheusBeforeMiddleware",
    "deploy.observing.logs.RequestLog",
    "deploy.headers.security_headers",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "deploy.headers.CompressForStrangers",
    "api.answer_headers.answer_headers",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "api.middleware.refuse_unreadable",
    "api.throttling.rate_limit_headers",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "results.pages.limits.count_requests",
    "allauth.account.middleware.AccountMiddleware",
    "results.pages.account.two_factor.ask_for_second_factor",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "results.pages.refusing.ShowRefusals",
    "results.pages.own_line.remember_own_line",
    "django_prometheus.middleware.PrometheusAfterMiddleware",
]

ROOT_URLCONF = "deploy.urls"
WSGI_APPLICATION = "deploy.wsgi.application"
AUTHENTICATION_BACKENDS = ["django.contrib.auth.backends.ModelBackend"]
LOGIN_URL, LOGIN_REDIRECT_URL = "account_login", "pages:bench"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [
            BASE_DIR / "results" / "pages" / "templates",
            BASE_DIR / "deploy" / "observing" / "templates",
        ],
        "APP_DIRS": True,
        "OPTIONS": {
            "libraries": {
                "computed": "results.pages.computed",
                "figures": "results.pages.figures",
                "sharing": "results.pages.sharing",
            },
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "results.pages.measures.measures",
                "results.pages.own_line.own_line",
            ],
        },
    },
]

if EMBEDDED:
    VAR_DIR.mkdir(parents=True, exist_ok=True)
    DATABASES: dict[str, dict[str, Any]] = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": VAR_DIR / "samespool.sqlite3",
            "OPTIONS": {
                "timeout": 20,
                "transaction_mode": "IMMEDIATE",
                "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
            },
            # Threads must share the test database, so it is a file there as well.
            "TEST": {"NAME": VAR_DIR / "test.sqlite3"},
        }
    }
else:
    DATABASES = {"default": env.dj_db_url("DATABASE_URL")}
    # A lock held for long costs a request a 503, and a worker less than its time limit. A host
    # whose link is cut says nothing: server and client each give up on the other after 25 s, or
    # the one would hold its locks, and the other wait for its answer, for hours.
    DATABASES["default"]["OPTIONS"] = {
        "options": "-c lock_timeout=10s -c tcp_keepalives_idle=10 -c tcp_keepalives_interval=5"
        " -c tcp_keepalives_count=3 -c tcp_user_timeout=25s",
        "keepalives_idle": 10,
        "keepalives_interval": 5,
        "keepalives_count": 3,
        "tcp_user_timeout": 25_000,
        "connect_timeout": 10,
    } | DATABASES["default"].get("OPTIONS", {})
    # Celery's children must not share pooled connections, so only the web process pools.
    if env.bool("SAMESPOOL_DATABASE_POOL", False):
        DATABASES["default"]["OPTIONS"]["pool"] = {"min_size": 2, "max_size": 16, "timeout": 10}
    else:
        DATABASES["default"] |= {"CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True}

# By default for all processes together, as what allauth counts; and what each keeps by itself.
_EACH_ITS_OWN = {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
CACHES = {
    "kept": {**_EACH_ITS_OWN, "LOCATION": "kept", "OPTIONS": {"MAX_ENTRIES": 1000}},
    "default": _EACH_ITS_OWN
    if EMBEDDED
    else {
        "BACKEND": "deploy.counting.Counts",
        "LOCATION": REDIS_URL,
        "KEY_PREFIX": "samespool",
        "OPTIONS": {"socket_timeout": 1, "socket_connect_timeout": 1},
    },
}
SAMESPOOL_REQUESTS_A_MINUTE = env.int("SAMESPOOL_REQUESTS_A_MINUTE", 600)

USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en-gb"
LANGUAGES = [("en-gb", "English")]
LOCALE_PATHS = [BASE_DIR / "deploy" / "locale"]
STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "results" / "pages" / "static"]
WHITENOISE_USE_FINDERS = EMBEDDED
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    # `collectstatic` keeps each file packed by Brotli and gzip beside it.
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedStaticFilesStorage"},
}
# Maps of the libraries' sources are most of the bytes, and only who debugs them asks for one.
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = ["map", "png", "gif", "woff", "woff2", "br", "gz"]

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.authentication.ByToken",
        "api.authentication.SignedIn",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticatedOrReadOnly"],
    "DEFAULT_THROTTLE_CLASSES": ["api.throttling.PerAccount"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["api.parsers.StorableJSON"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_CONTENT_NEGOTIATION_CLASS": "api.sheets.JsonOrSheet",
    "URL_FORMAT_OVERRIDE": None,
    "DEFAULT_FILTER_BACKENDS": ["api.ordering.Ordering"],
    "DEFAULT_PAGINATION_CLASS": "api.pagination.Pages",
    "DEFAULT_METADATA_CLASS": "api.metadata.Methods",
    "EXCEPTION_HANDLER": "api.exceptions.problem_response",
}
# A token ends 400 days after it was last used; that is written down once a day at most.
REST_KNOX = {
    "TOKEN_TTL": timedelta(days=400),
    "AUTO_REFRESH": True,
    "MIN_REFRESH_INTERVAL": 24 * 3600,
}

CELERY_BROKER_URL = REDIS_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_TIME_LIMIT = 90
CELERY_TASK_SOFT_TIME_LIMIT = 60
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_REDIRECT_STDOUTS = False  # a line of the log stays the JSON it is
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
# A hung Redis must not hang an upload: the row is already safe, the sweeper sends it again.
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "socket_timeout": 2,
    "socket_connect_timeout": 2,
    "queue_order_strategy": "sorted",
}
CELERY_TASK_PUBLISH_RETRY_POLICY = {"max_retries": 1, "interval_start": 0.1, "interval_max": 0.2}
SAMESPOOL_SWEEP_SECONDS = env.float("SAMESPOOL_SWEEP_SECONDS", 5.0)
SAMESPOOL_LEASE_SECONDS = env.float("SAMESPOOL_LEASE_SECONDS", 120.0)
SAMESPOOL_JOB_ATTEMPTS = 5
# Thresholds of the screening, by check and name; results.screening.thresholds says which there are.
SAMESPOOL_SCREENING: dict[str, dict[str, Any]] = dict(env.json("SAMESPOOL_SCREENING", {}))
MAIL_EVERY_S = 60
CELERY_BEAT_SCHEDULE = {
    "sweep": {
        "task": "results.tasks.sweep",
        "schedule": schedule(SAMESPOOL_SWEEP_SECONDS, nowfun=steady_now),
        # Sweeps that no worker took pile up otherwise; one does the work of all.
        "options": {"expires": max(60.0, SAMESPOOL_SWEEP_SECONDS)},
    },
    "news": {
        "task": "results.tasks.mail_news",
        "schedule": schedule(MAIL_EVERY_S, nowfun=steady_now),
        "options": {"expires": MAIL_EVERY_S},
    },
}
CELERY_BEAT_SCHEDULE["clear"] = {
    "task": "results.tasks.clear_expired",
    "schedule": schedule(timedelta(days=1), nowfun=steady_now),
    "options": {"expires": 24 * 3600},
}
CELERY_BEAT_SCHEDULE["traces"] = {
    "task": "results.tasks.archive_traces",
    "schedule": schedule(timedelta(hours=1), nowfun=steady_now),
    "options": {"expires": 3600},
}
CELERY_BEAT_SCHEDULE_FILENAME = str(VAR_DIR / "celerybeat-schedule")

# Mail is sent where a sender and a server are set: notices, and links to reset a password.
SAMESPOOL_MAIL_FROM = env.str("SAMESPOOL_MAIL_FROM", "")
DEFAULT_FROM_EMAIL = SAMESPOOL_MAIL_FROM
# Where the service is reached, for links in mail that no request gives rise to.
SAMESPOOL_ADDRESS = next(iter(CSRF_TRUSTED_ORIGINS), "")
# A folder that mails are written to in place of a server, a file each: to try it on one's machine.
EMAIL_FILE_PATH = env.str("SAMESPOOL_MAIL_FOLDER", "")
if not SAMESPOOL_MAIL_FROM:
    EMAIL_BACKEND = "django.core.mail.backends.dummy.EmailBackend"
elif EMAIL_FILE_PATH:
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
_MAIL_PORTS = {"none": 25, "starttls": 587, "tls": 465}
_MAIL_TLS = env.str("SAMESPOOL_MAIL_TLS", "none", validate=validate.OneOf(_MAIL_PORTS))
EMAIL_HOST = env.str("SAMESPOOL_MAIL_HOST", "") or "localhost"
EMAIL_PORT = env.int("SAMESPOOL_MAIL_PORT", _MAIL_PORTS[_MAIL_TLS])
EMAIL_USE_TLS, EMAIL_USE_SSL = _MAIL_TLS == "starttls", _MAIL_TLS == "tls"
EMAIL_HOST_USER = env.str("SAMESPOOL_MAIL_USER", "")
EMAIL_HOST_PASSWORD = env.str("SAMESPOOL_MAIL_PASSWORD", "")
if EMAIL_HOST_USER and _MAIL_TLS == "none":
    raise ImproperlyConfigured(
        "SAMESPOOL_MAIL_USER is set and SAMESPOOL_MAIL_TLS is not: the password would go over the "
        "network in the clear. Set SAMESPOOL_MAIL_TLS to starttls or tls."
    )
EMAIL_TIMEOUT = 10

ACCOUNT_ADAPTER = "results.accounts.sign_in.Adapter"
ACCOUNT_SIGNUP_FIELDS = ["username*", "email", "password1*", "password2*"]
ACCOUNT_SIGNUP_FORM_CLASS = "results.pages.account.forms.JoiningForm"
ACCOUNT_EMAIL_VERIFICATION = "optional" if SAMESPOOL_MAIL_FROM else "none"
# Whether anybody may make an account, or only an administrator for them.
_SIGN_UP = validate.OneOf(["open", "closed"])
SAMESPOOL_SIGN_UP = env.str("SAMESPOOL_SIGN_UP", "open", validate=_SIGN_UP)
ACCOUNT_EMAIL_SUBJECT_PREFIX = "Samespool: "
MFA_TOTP_ISSUER = "Samespool"
# Where no mail can be sent no address can be confirmed, and a second factor must not wait for it.
MFA_ALLOW_UNVERIFIED_EMAIL = not SAMESPOOL_MAIL_FROM
# Moderators and administrators need a second factor, but on a machine where it is only tried.
SAMESPOOL_TWO_FACTOR = env.bool("SAMESPOOL_TWO_FACTOR", not EMBEDDED)

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
BEHIND_TLS = env.bool("SAMESPOOL_HTTPS", False)
# How many proxies of ours add to X-Forwarded-For: requests, and attempts to sign in, are counted
# by the address that the outermost of them saw. Where there is none, the header is not believed.
ALLAUTH_TRUSTED_PROXY_COUNT = env.int("SAMESPOOL_PROXIES", 1 if BEHIND_TLS else 0)
if BEHIND_TLS:
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = [r"^(healthz|readyz|metrics)$"]  # asked from inside, without TLS
    SECURE_HSTS_SECONDS = 365 * 24 * 3600
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
DATA_UPLOAD_MAX_MEMORY_SIZE = 10 * 1024 * 1024

# Who asks is not logged: neither account nor address.
DJANGO_STRUCTLOG_USER_ID_FIELD = ""
DJANGO_STRUCTLOG_IP_LOGGING_ENABLED = False
DJANGO_STRUCTLOG_STATUS_START_LOG_LEVEL = 10
DJANGO_STRUCTLOG_CELERY_ENABLED = True
DJANGO_STRUCTLOG_CELERY_TASK_START_LOG_LEVEL = 10
SAMESPOOL_METRICS_TOKEN = env.str("SAMESPOOL_METRICS_TOKEN", "")
SAMESPOOL_BACKUPS = env.str("SAMESPOOL_BACKUPS", "")
SAMESPOOL_DRAINING = env.str("SAMESPOOL_DRAINING", "")
LOGGING = logs.LIBRARIES
logs.configure()
