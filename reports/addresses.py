"""How an entry's id stands in an address, whatever characters it holds."""

from __future__ import annotations

import re
from base64 import urlsafe_b64decode, urlsafe_b64encode

_PLAIN = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,119}\Z")
_LONGEST_ID = 120


class EntryId:
    """A path converter: a plain id as it is, any other as "~" and its base64.

    Slashes, dots alone, percent signs and letters of any script therefore never
    meet what browsers and proxies do to paths.
    """

    regex = r"~?[A-Za-z0-9._-]+"

    def to_python(self, value: str) -> str:
        """The id an address names. Raises ValueError for an address that no id has."""
        found = value if not value.startswith("~") else _decoded(value[1:])
        if not found or len(found) > _LONGEST_ID or self.to_url(found) != value:
            raise ValueError("not an address of an entry")
        return found

    def to_url(self, value: str) -> str:
        """The part of the address for an id."""
        if _PLAIN.match(value):
            return value
        return "~" + urlsafe_b64encode(value.encode("utf-8")).decode("ascii").rstrip("=")


def _decoded(coded: str) -> str:
    try:
        return urlsafe_b64decode(coded + "=" * (-len(coded) % 4)).decode("utf-8")
    except ValueError:
        return ""
