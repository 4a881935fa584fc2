"""Secrets kept in tables, unreadable in a dump or a backup without the key.

The key comes from `TOWPATH_FIELD_KEY`, else from the secret key; older ones
stay readable through the fallbacks. It does not protect a server that was
taken over.
"""

from __future__ import annotations

import base64

from cryptography.fernet import Fernet, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

_PURPOSE = b"towpath field encryption 1"


def _box() -> MultiFernet:
    own = [settings.FIELD_KEY] if settings.FIELD_KEY else []
    keys = [*own, settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    return MultiFernet([Fernet(_derived(key)) for key in keys])


def _derived(key: str) -> bytes:
    made = HKDF(algorithm=SHA256(), length=32, salt=None, info=_PURPOSE).derive(key.encode())
    return base64.urlsafe_b64encode(made)


def sealed(text: str) -> str:
    """The text, encrypted and signed."""
    return _box().encrypt(text.encode()).decode()


def opened(text: str) -> str:
    """What was sealed. Raises cryptography's InvalidToken for another key's or a changed text."""
    return _box().decrypt(text.encode()).decode()
