"""The WSGI entry point."""

import os

from django.core.exceptions import ImproperlyConfigured
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
application = get_wsgi_application()

from django.conf import settings  # noqa: E402 - settings are ready only now

if settings.SECRET_KEY == settings.UNSAFE_KEY:
    message = (
        "No secret key: sessions could be forged. Run `python3 config/bootstrap.py up`, "
        "or set TOWPATH_SECRET_KEY to 50 or more random characters."
    )
    raise ImproperlyConfigured(message)
