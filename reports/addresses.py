"""Parts of addresses that may hold any characters, written so that no server changes them."""

from __future__ import annotations

import re
from base64 import urlsafe_b64decode, urlsafe_b64encode

_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*\Z")


class EntryIdConverter:
    """An entry's id in an address.

    Banks' ids hold slashes, dots, blanks, anything. A plain id stands as it is;
    any other as "~" and its base64url, so that one id has one address and no
    proxy shortens, decodes or splits it.
    """

    regex = r"~[A-Za-z0-9_-]+|[A-Za-z0-9][A-Za-z0-9_-]*"

    def to_python(self, value: str) -> str:
        """The id of an address. Raises ValueError (answered with 404) if it is not one of ours."""
        if not value.startswith("~"):
            return value
        text = value[1:]
        found = urlsafe_b64decode(text + "=" * (-len(text) % 4)).decode()
        if self.to_url(found) != value:
            raise ValueError("not the address of this id")
        return found

    def to_url(self, value: str) -> str:
        """The id as it stands in an address."""
        if _PLAIN.match(value):
            return value
        return "~" + urlsafe_b64encode(value.encode()).decode().rstrip("=")
