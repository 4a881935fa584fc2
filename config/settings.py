"""Django settings, read from the environment.

`DATABASE_URL` is the owning role: it migrates and creates roles. The
application itself connects with `TOWPATH_APP_DATABASE_URL`, a role that owns
nothing, so row-level security binds it. `config/bootstrap.py` prepares both.
"""

from __future__ import annotations

from pathlib import Path

import environ

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.FileAwareEnv()

DEBUG = env.bool("TOWPATH_DEBUG", default=False)
SECRET_KEY = env.str("TOWPATH_SECRET_KEY", default="unsafe-key-for-commands-without-a-server")
ALLOWED_HOSTS = env.list("TOWPATH_HOSTS", default=["127.0.0.1", "localhost", "testserver"])

INSTALLED_APPS = [
    "django.contrib.contenttypes",
    "django.contrib.auth",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "config",
    "planning",
    "ledger",
    "reports",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
AUTH_USER_MODEL = "config.User"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

DATABASES = {
    "default": {
        **env.db_url("TOWPATH_APP_DATABASE_URL", default="postgres://towpath_app@127.0.0.1:5432/towpath"),
        "ATOMIC_REQUESTS": True,
    },
    "owner": env.db_url("DATABASE_URL", default="postgres://postgres@127.0.0.1:5432/towpath"),
}

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("fr", "Français")]
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True
STATIC_URL = "/static/"
STATIC_ROOT = BASE_DIR / "staticfiles"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
