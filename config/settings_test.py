"""Settings for the test run: the real stack, with cheaper passwords and plain static files."""

from __future__ import annotations

from config import logs
from config.settings import *  # noqa: F403 - the test run differs in the lines below only

SECRET_KEY = "a-key-that-only-ever-signs-test-sessions-" * 2
SECURE_SSL_REDIRECT = False
# The tests of the second factor ask for it; the others sign in by force.
SECOND_FACTOR = "offered"
# One round: a login per test must not cost 100 MiB and a tenth of a second.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# Collected files are a matter of serving; the tests render pages without them.
MIDDLEWARE = [one for one in MIDDLEWARE if not one.startswith("whitenoise.")]  # noqa: F405
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
LOGGING = logs.configuration(level="WARNING", as_json=True)
