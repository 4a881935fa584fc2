"""Django settings, read from the environment.

`DATABASE_URL` is the owning role: it migrates and creates roles. The
application itself connects with `TOWPATH_APP_DATABASE_URL`, a role that owns
nothing, so row-level security binds it. `config/bootstrap.py` prepares both and
leaves their addresses where `config.environment` finds them; a variable in the
environment always wins. `NAME_FILE` reads any variable from a file.
"""

from __future__ import annotations

import os
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import environ
from django.core.exceptions import ImproperlyConfigured

from config import environment, logs

environment.load()

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_FOLDER = environment.data_folder()
env = environ.FileAwareEnv()

# --- Who we are to the outside ---

DEBUG = env.bool("TOWPATH_DEBUG", default=False)
UNSAFE_KEY = "unsafe-key-for-commands-without-a-server"
SECRET_KEY = env.str("TOWPATH_SECRET_KEY", default=UNSAFE_KEY)
SECRET_KEY_FALLBACKS = env.list("TOWPATH_OLD_SECRET_KEYS", default=[])

PUBLIC_URL = env.str("TOWPATH_PUBLIC_URL", default="http://127.0.0.1:8000").rstrip("/")
_public = urlsplit(PUBLIC_URL)
SECURE = _public.scheme == "https"
ALLOWED_HOSTS = [
    *env.list("TOWPATH_HOSTS", default=["127.0.0.1", "localhost", "testserver"]),
    _public.hostname or "localhost",
]
CSRF_TRUSTED_ORIGINS = [f"{_public.scheme}://{_public.netloc}"]

INSTALLED_APPS = [
    "django.contrib.contenttypes",
    "django.contrib.auth",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "csp",
    "django_htmx",
    "rest_framework",
    "knox",
    "drf_spectacular",
    "config",
    "planning",
    "ledger",
    "reports",
    # After ours: their pages take our templates.
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "django.contrib.humanize",
]
MIDDLEWARE = [
    "config.middleware.RequestLog",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "config.middleware.PrivacyHeaders",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "config.middleware.SessionLimits",
    "allauth.account.middleware.AccountMiddleware",
    "allauth.usersessions.middleware.UserSessionsMiddleware",
    "config.rates.Rates",
    "planning.middleware.FirmOfUser",
    "planning.sightings.Sightings",
    "planning.sign_in.SecondFactorFirst",
    "planning.middleware.SignedInOrGranted",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

# --- Database: two roles ---

OWNER_DATABASE_URL = env.str("DATABASE_URL", default="postgres://postgres@127.0.0.1:5432/towpath")
APP_ROLE = "towpath_app"


def _same_database_as(url: str, role: str) -> str:
    """The address of `url` with another role and no password: enough where the server trusts us."""
    parts = urlsplit(url)
    place = parts.netloc.rpartition("@")[2]
    return urlunsplit(parts._replace(netloc=f"{role}@{place}"))


# Planner and lock waits are bounded on every connection of the application; a worker
# that closes a large book asks for more through TOWPATH_STATEMENT_TIMEOUT.
_limits = (
    f"-c statement_timeout={env.str('TOWPATH_STATEMENT_TIMEOUT', default='30s')}"
    " -c lock_timeout=10s"
    f" -c idle_in_transaction_session_timeout={env.str('TOWPATH_IDLE_TIMEOUT', default='120s')}"
    " -c timezone=UTC"
)
_app_database = env.db_url_config(
    env.str(
        "TOWPATH_APP_DATABASE_URL",
        default=_same_database_as(OWNER_DATABASE_URL, APP_ROLE),
    )
)
DATABASES = {
    "default": {
        **_app_database,
        "ENGINE": "django.db.backends.postgresql",
        "ATOMIC_REQUESTS": True,
        "CONN_MAX_AGE": env.int("TOWPATH_CONNECTION_AGE", default=60),
        "CONN_HEALTH_CHECKS": True,
        "OPTIONS": {**_app_database.get("OPTIONS", {}), "options": _limits},
    },
    "owner": {
        **env.db_url_config(OWNER_DATABASE_URL),
        "ENGINE": "django.db.backends.postgresql",
    },
}
DATABASE_ROUTERS = ["config.database.router.OwnerMigrates"]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- Broker and cache ---

REDIS_URL = env.str("REDIS_URL", default="redis://127.0.0.1:6379/0")
# A month that a worker claimed is another's to take when the lease is over; it must
# outlast the hard limit of a task (config/celery.py). Seconds, by the database's clock.
CLOSE_LEASE_SECONDS = env.float("TOWPATH_CLOSE_LEASE", default=660.0)
CLOSE_MAX_ATTEMPTS = env.int("TOWPATH_CLOSE_ATTEMPTS", default=5)
# A due month that nobody took is hinted to the workers again after this long.
CLOSE_HINT_SECONDS = env.float("TOWPATH_CLOSE_HINT", default=60.0)
# The cache stays inside each process: nothing that is kept there may be needed for a
# promise, rates are counted in PostgreSQL, and the site still answers without a broker.
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}

# --- Messages that leave the server ---

# Without a mail server messages stay in the outbox, where a principal sees them.
_mail = environment.mail_server(
    env.str("TOWPATH_SMTP_URL", default=""),
    {name: env.str(name, default="") for name in environment.MAIL_VARIABLES},
)
EMAIL_HOST, EMAIL_PORT = _mail["EMAIL_HOST"], _mail["EMAIL_PORT"]
EMAIL_HOST_USER = _mail["EMAIL_HOST_USER"]
EMAIL_HOST_PASSWORD = _mail["EMAIL_HOST_PASSWORD"]
EMAIL_USE_TLS, EMAIL_USE_SSL = _mail["EMAIL_USE_TLS"], _mail["EMAIL_USE_SSL"]
DEFAULT_FROM_EMAIL = env.str(
    "TOWPATH_MAIL_FROM", default=f"Towpath <no-reply@{_public.hostname or 'localhost'}>"
)
EMAIL_TIMEOUT = 20
# A message that a sender claimed is another's to take when the lease is over; it must
# outlast the hard limit of a task (config/celery.py). Seconds, by the database's clock.
OUTBOX_LEASE_SECONDS = env.float("TOWPATH_OUTBOX_LEASE", default=660.0)
OUTBOX_MAX_ATTEMPTS = 5
# Only a test's own settings may let a webhook reach this machine; no variable does.
WEBHOOK_ALLOW_LOOPBACK = False

# --- Pages ---

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("fr", "Français")]  # each app carries its own locale folder
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True
STATIC_URL = "/static/"
STATIC_ROOT = Path(env.str("TOWPATH_STATIC", default=str(BASE_DIR / "staticfiles")))
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
MEDIA_ROOT = DATA_FOLDER / "files"
FILE_UPLOAD_PERMISSIONS = 0o600
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_000
DATA_UPLOAD_MAX_NUMBER_FILES = 50

# --- People, passwords, sessions ---

AUTH_USER_MODEL = "config.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = LOGIN_URL
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
_validation = "django.contrib.auth.password_validation"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"{_validation}.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": f"{_validation}.CommonPasswordValidator"},
    {"NAME": f"{_validation}.UserAttributeSimilarityValidator"},
]
PASSWORD_RESET_TIMEOUT = 30 * 60
# "staff": who works in a firm needs a second factor. "offered": everybody may have one.
SECOND_FACTOR = env.str("TOWPATH_SECOND_FACTOR", default="staff")
if SECOND_FACTOR not in ("staff", "offered"):
    raise ImproperlyConfigured("TOWPATH_SECOND_FACTOR is neither staff nor offered")
FIELD_KEY = env.str("TOWPATH_FIELD_KEY", default="")  # seals secrets in tables
ACCOUNT_ADAPTER = "planning.sign_in.SignIn"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"  # the invitation proved the address
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_EMAIL_SUBJECT_PREFIX = "Towpath: "
ACCOUNT_LOGIN_ON_PASSWORD_RESET = False  # the second factor stays in the way
ACCOUNT_LOGOUT_ON_PASSWORD_CHANGE = True
ACCOUNT_REAUTHENTICATION_TIMEOUT = 5 * 60
ACCOUNT_SESSION_REMEMBER = False
ACCOUNT_RATE_LIMITS = False  # its counters live in one process; ours are in config/rates.py
ALLAUTH_TRUSTED_PROXY_COUNT = 1 if env.bool("TOWPATH_BEHIND_PROXY", default=False) else 0
MFA_ADAPTER = "planning.sign_in.SecondFactor"
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_TOTP_ISSUER = "Towpath"
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not SECURE
USERSESSIONS_TRACK_ACTIVITY = False

SESSION_ENGINE = "django.contrib.sessions.backends.db"
SESSION_IDLE_SECONDS = 30 * 60
SESSION_ABSOLUTE_SECONDS = 12 * 60 * 60
SESSION_COOKIE_AGE = SESSION_ABSOLUTE_SECONDS
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = SECURE
SESSION_COOKIE_NAME = "__Host-session" if SECURE else "towpath-session"
CSRF_COOKIE_SECURE = SECURE
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_NAME = "__Host-csrf" if SECURE else "towpath-csrf"
LANGUAGE_COOKIE_SAMESITE = "Lax"
LANGUAGE_COOKIE_SECURE = SECURE
LANGUAGE_COOKIE_HTTPONLY = True

# --- Headers ---

SECURE_SSL_REDIRECT = SECURE
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if SECURE else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE
SECURE_HSTS_PRELOAD = SECURE
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
if env.bool("TOWPATH_BEHIND_PROXY", default=False):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
# No inline script or style, no eval, no other origin at all.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "manifest-src": ["'self'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
        "base-uri": ["'none'"],
    },
}

# --- Interface for programs ---

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["planning.api.authentication.TokenOfMember"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["config.api.bodies.StrictJson"],
    "DEFAULT_SCHEMA_CLASS": "planning.api.description.Description",
    "COERCE_DECIMAL_TO_STRING": True,
    "UNAUTHENTICATED_USER": None,
}
# The library's own life span is ten hours; ours is given with every token, a year at most.
REST_KNOX = {"AUTH_HEADER_PREFIX": "Bearer", "TOKEN_PREFIX": "tow_", "AUTO_REFRESH": False}
SPECTACULAR_SETTINGS = {
    "TITLE": "Towpath",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "DESCRIPTION": "Everything the desk can do, for programs. Amounts are text with two decimals.",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "POSTPROCESSING_HOOKS": ["planning.api.description.with_errors"],
}

# --- Log and test ---

LOGGING = logs.configuration(
    level=env.str("TOWPATH_LOG_LEVEL", default="INFO"),
    as_json=env.bool("TOWPATH_LOG_JSON", default=not DEBUG),
)
TEST_RUNNER = "django.test.runner.DiscoverRunner"
os.environ.setdefault("PYTHONUTF8", "1")
