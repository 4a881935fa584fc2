"""Entity tags: the state of a resource as a short digest of its answer."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from rest_framework.renderers import JSONRenderer


def tag_of_bytes(content: bytes) -> str:
    """The strong tag of an answer's bytes."""
    return f'"{sha256(content).hexdigest()[:32]}"'


def tag_of(data: Any) -> str:
    """The tag that an answer with this data carries."""
    return tag_of_bytes(JSONRenderer().render(data))


def names(header: str, tag: str, *, weak: bool = False) -> bool:
    """Whether a header (If-Match, If-None-Match) names a tag, or is `*`.

    With `weak`, W/ before a tag makes no difference (for If-None-Match).
    """
    listed = [one.strip() for one in header.split(",")]
    if weak:
        listed = [one.removeprefix("W/") for one in listed]
    return tag in listed or "*" in listed
