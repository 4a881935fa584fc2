"""Text cells that a spreadsheet would compute, made harmless and read back."""

from __future__ import annotations

_GUARDED = ("'", "=", "+", "-", "@", "\t", "＝", "＋", "－", "＠")


def guarded(text: str) -> str:
    """Text with an apostrophe before a first character that starts a formula."""
    return f"'{text}" if text.startswith(_GUARDED) else text


def unguarded(text: str) -> str:
    """The text that `guarded` was given."""
    return text[1:] if text.startswith("'") and text[1:].startswith(_GUARDED) else text
