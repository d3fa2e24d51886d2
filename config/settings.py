"""Every setting of an installation, read from the environment; docs/operations.md lists them."""

import os
import secrets
from contextlib import suppress
from pathlib import Path
from tempfile import NamedTemporaryFile
from urllib.parse import quote

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from config import env, schedule
from config.logs import logging_of
from config.safety import faults

BASE_DIR = Path(__file__).resolve().parent.parent

# --- where and as what this installation runs ---------------------------------------------------
PRODUCTION = env.one_of("KICKPLATE_ENV", ("embedded", "production"), "embedded") == "production"
DATA_DIR = Path(env.text("KICKPLATE_DATA_DIR", str(BASE_DIR / "var"))).absolute()
DATA_DIR.mkdir(mode=0o750, parents=True, exist_ok=True)
BASE_URL = env.text("KICKPLATE_BASE_URL", "http://127.0.0.1:8000").rstrip("/")
DEBUG = env.yes("KICKPLATE_DEBUG", False)
ALLOWED_HOSTS = env.words(
    "KICKPLATE_ALLOWED_HOSTS", () if PRODUCTION else ("localhost", "127.0.0.1", "[::1]")
)


def _secret_key() -> str:
    """The key from the environment or, embedded only, one made at the first start and kept."""
    given = env.text("KICKPLATE_SECRET_KEY")
    if given or PRODUCTION:
        return given
    kept = DATA_DIR / "secret_key"
    if not kept.exists():
        # Two processes may start at once: linking a finished file lets the first one win whole.
        with NamedTemporaryFile("w", dir=DATA_DIR, prefix=".secret_key") as made:
            made.write(secrets.token_urlsafe(50))
            made.flush()
            with suppress(FileExistsError):
                os.link(made.name, kept)
    return kept.read_text()


SECRET_KEY = _secret_key()
SECRET_KEY_FALLBACKS = env.words("KICKPLATE_OLD_SECRET_KEYS")

INSTALLED_APPS = [
    "accounts",
    "sites",
    "visits",
    "compliance",
    "config",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.humanize",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "django.forms",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "csp",
    "django_filters",
    "django_htmx",
    "django_structlog",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "knox",
    "rest_framework",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "config.logs.RequestLog",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "accounts.middleware.WhoMiddleware",
    "accounts.middleware.SecondFactorMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "allauth.usersessions.middleware.UserSessionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "accounts.middleware.RefusalMiddleware",
    "accounts.middleware.PrivatePagesMiddleware",
    "compliance.middleware.AuditorLooksMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
            "builtins": ["accounts.templatetags.kickplate"],
        },
    }
]
FORM_RENDERER = "config.forms.KickplateRenderer"

# --- database, cache, files ---------------------------------------------------------------------
DATABASES = {
    "default": env.database("DATABASE_URL", f"sqlite:///{quote(str(DATA_DIR))}/kickplate.sqlite3")
}
REDIS_URL = env.text("REDIS_URL")
CACHES = {
    "default": (
        {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": REDIS_URL,
            "KEY_PREFIX": "kickplate",
            "OPTIONS": {"socket_connect_timeout": 1, "socket_timeout": 2},
        }
        if REDIS_URL
        else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": "kickplate"}
    )
}
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": DATA_DIR / "files"},
    },
    "staticfiles": {"BACKEND": "config.static.HashedStatic"},
}
# Private files are sent by the web server in front, which maps this prefix to DATA_DIR/files.
ACCEL_PREFIX = env.text("KICKPLATE_ACCEL_PREFIX")
FILE_UPLOAD_PERMISSIONS = 0o640
DATA_UPLOAD_MAX_MEMORY_SIZE = 3_000_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 3000
# What may be stored for one site, and sent by one person within a day.
SITE_STORAGE_MEGABYTES = env.whole("KICKPLATE_SITE_STORAGE_MB", 2000)
PERSON_DAY_MEGABYTES = env.whole("KICKPLATE_PERSON_DAY_MB", 500)
STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "static"]
WHITENOISE_USE_FINDERS = not PRODUCTION

# --- language and time --------------------------------------------------------------------------
LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True

# --- people and sign-in -------------------------------------------------------------------------
AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_ADAPTER = "accounts.adapter.ClosedAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_SESSION_REMEMBER = True  # a phone that restarts must not be signed out in a cellar
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_REAUTHENTICATION_TIMEOUT = 600
ACCOUNT_LOGOUT_ON_PASSWORD_CHANGE = True
ACCOUNT_RATE_LIMITS = {
    "login": "30/m/ip",
    "login_failed": "10/m/ip,5/5m/key",
    "reset_password": "20/m/ip,5/m/key",
}
ALLAUTH_TRUSTED_PROXY_COUNT = env.whole("KICKPLATE_PROXIES", 0)
MFA_ADAPTER = "accounts.adapter.SecondFactorAdapter"
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_ALLOW_UNVERIFIED_EMAIL = True  # the office enters addresses, and an invitation proves them
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not PRODUCTION
SECOND_FACTOR_REQUIRED_FOR_OFFICE = env.yes("KICKPLATE_OFFICE_SECOND_FACTOR", PRODUCTION)
INVITATION_DAYS = 7

# --- cookies, transport, policy -----------------------------------------------------------------
SESSION_COOKIE_NAME = "__Host-sid" if PRODUCTION else "sid"
CSRF_COOKIE_NAME = "__Host-csrf" if PRODUCTION else "csrf"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = PRODUCTION
SESSION_COOKIE_HTTPONLY = True
CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 14 * 86400
CSRF_TRUSTED_ORIGINS = [BASE_URL] if PRODUCTION else []
ACCOUNT_DEFAULT_HTTP_PROTOCOL = "https" if PRODUCTION else "http"
CSRF_FAILURE_VIEW = "config.views.csrf_failure"
SECURE_SSL_REDIRECT = PRODUCTION
SECURE_REDIRECT_EXEMPT = [r"^health/"]  # asked from inside, where there is no certificate
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if PRODUCTION else None
SECURE_HSTS_SECONDS = 31_536_000 if PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = PRODUCTION
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "blob:", "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "worker-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
    }
}

# --- e-mail -------------------------------------------------------------------------------------
EMAIL_HOST = env.text("KICKPLATE_SMTP_HOST")
EMAIL_PORT = env.whole("KICKPLATE_SMTP_PORT", 587)
EMAIL_HOST_USER = env.text("KICKPLATE_SMTP_USER")
EMAIL_HOST_PASSWORD = env.text("KICKPLATE_SMTP_PASSWORD")
_smtp_security = env.one_of("KICKPLATE_SMTP_SECURITY", ("starttls", "tls", "none"), "starttls")
EMAIL_USE_TLS = _smtp_security == "starttls"
EMAIL_USE_SSL = _smtp_security == "tls"
EMAIL_TIMEOUT = 20
# Without a mail server, letters are written as files, where they can be read.
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend"
    if EMAIL_HOST
    else "django.core.mail.backends.filebased.EmailBackend"
)
EMAIL_FILE_PATH = DATA_DIR / "mail"
SERVER_EMAIL = DEFAULT_FROM_EMAIL = env.text(
    "KICKPLATE_MAIL_FROM", "Kickplate <kickplate@localhost>"
)

# --- jobs ---------------------------------------------------------------------------------------
WAKE_WORKERS = bool(REDIS_URL)
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
# A task comes back when its worker has been silent for the visibility timeout, so that must be
# longer than any task may take; and a click must not wait for a broker that is away.
CELERY_TASK_SOFT_TIME_LIMIT = 15 * 60
CELERY_TASK_TIME_LIMIT = 16 * 60
CELERY_BROKER_TRANSPORT_OPTIONS = (
    {
        "visibility_timeout": 3600,
        "unacked_restore_interval": 5,
        "unacked_restore_throttle": 1,
        "max_retries": 0,
        "socket_connect_timeout": 1,
        "socket_keepalive": True,
        "health_check_interval": 10,
        "retry_on_timeout": True,
        "global_keyprefix": "kickplate:",
    }
    if REDIS_URL
    else {}
)
CELERY_TASK_DEFAULT_QUEUE = "sweeps"
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_MAX_TASKS_PER_CHILD = 200
CELERY_WORKER_MAX_MEMORY_PER_CHILD = 600_000  # kB: papers leave a high-water mark
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE = schedule.for_beat()
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat")

# --- interface for programs ---------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "knox.auth.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_FILTER_BACKENDS": ["accounts.api.filters.Filters"],
    "DEFAULT_PAGINATION_CLASS": "accounts.api.paging.Pages",
    "PAGE_SIZE": 50,
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "accounts.api.errors.answer",
    # What can be asked of an operation is in the schema, for who is signed in.
    "DEFAULT_METADATA_CLASS": None,
    "DEFAULT_THROTTLE_CLASSES": ["rest_framework.throttling.UserRateThrottle"],
    "DEFAULT_THROTTLE_RATES": {
        "user": env.text("KICKPLATE_API_RATE", "1200/min"),
        "trap_sender": env.text("KICKPLATE_TRAP_RATE", "60/min"),
        "calendar": env.text("KICKPLATE_CALENDAR_RATE", "120/hour"),
    },
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Kickplate",
    "DESCRIPTION": (
        "Recurring pest-control contracts for food premises. Sign in with a token from the page "
        "“Tokens”, sent as `Authorization: Token …`. Lists come in pages of 50; `page_size` asks "
        "for up to 200. Every no is `{code, message, facts}`: `code` is for programs, `message` "
        "for people. What may not be seen is answered as if it were absent."
    ),
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    "SCHEMA_PATH_PREFIX": "/api/",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_NAME_OVERRIDES": {
        "ZoneKind": "sites.models.zone.Zone.Kind",
        "MonitorKind": "sites.models.monitor.Monitor.Kind",
        "DocumentKind": "sites.models.document.Document.Kind",
        "VisitKind": "sites.models.contract.VisitKind",
        "FindingKind": "visits.models.finding.Finding.Kind",
        "ActionKind": "visits.models.finding.RemedyKind",
        "OptionKind": "compliance.models.action.ActionOption.Kind",
        "FlagKind": "compliance.models.flag.Flag.Kind",
        "VisitState": "visits.models.visit.Visit.State",
        "ActionState": "compliance.models.action.CorrectiveAction.State",
        "FlagState": "compliance.models.flag.Flag.State",
        "AlarmState": "compliance.models.trend.Alarm.State",
        "PlaceMonthState": "compliance.models.trend.PlaceMonth.State",
        "BreachState": "compliance.models.threshold.Breach.State",
        "ThresholdPer": "compliance.models.threshold.ActionThreshold.Per",
        "ThresholdThen": "compliance.models.threshold.ActionThreshold.Then",
        "SiteFileState": "compliance.models.site_file.SiteFile.State",
        "ImportState": "sites.models.imports.ImportJob.State",
        "PestGroup": "visits.models.pest.Pest.Group",
        "Method": "visits.models.treatment.Treatment.Method",
        "AmountUnit": "visits.models.treatment.Treatment.AmountUnit",
        "AreaUnit": "visits.models.treatment.Treatment.AreaUnit",
        "PerEnum": "visits.models.label.LabelRate.Per",
        "ProductUnit": "visits.models.product.Product.Unit",
        "MeasureUnit": "visits.models.label.MeasureUnit",
        "NotReachedReason": "visits.models.not_reached.NotReached.Reason",
    },
}

# --- log and safety -----------------------------------------------------------------------------
LOGGING = logging_of(
    level=env.one_of(
        "KICKPLATE_LOG_LEVEL",
        ("DEBUG", "INFO", "WARNING", "ERROR"),
        "INFO" if PRODUCTION else "WARNING",
    ),
    lines=env.one_of("KICKPLATE_LOG_LINES", ("json", "plain"), "json" if PRODUCTION else "plain"),
)
DJANGO_STRUCTLOG_CELERY_ENABLED = True
DJANGO_STRUCTLOG_STATUS_START_LOG_LEVEL = 10  # the line at the end says it all
DJANGO_STRUCTLOG_STATUS_4XX_LOG_LEVEL = 20  # a refusal is an answer, not a fault

if PRODUCTION:
    _faults = faults(
        secret_key=SECRET_KEY,
        debug=DEBUG,
        hosts=ALLOWED_HOSTS,
        base_url=BASE_URL,
        engine=str(DATABASES["default"]["ENGINE"]),
        redis_url=REDIS_URL,
    )
    if _faults:
        raise ImproperlyConfigured("Kickplate does not start like this.\n- " + "\n- ".join(_faults))
