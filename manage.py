#!/usr/bin/env python3
"""Django's command line for Towpath."""

import os
import sys

# These compute from files or from the code alone.
WITHOUT_DATABASE = frozenset(
    {"evaluate", "tax", "help", "check", "compilemessages", "makemessages", "collectstatic"}
)


def wants_database(words: list[str]) -> bool:
    """Whether the command on this line reads or writes the book."""
    asks_for_help = len(words) < 2 or bool({"--help", "-h", "--version"} & set(words))
    return not asks_for_help and (words[1] not in WITHOUT_DATABASE or "--database" in words)


def wake_services() -> None:
    """Start this installation's own database and broker if they are down."""
    from config import environment, machine

    if not environment.embedded_file().exists():
        return
    from config import embedded

    try:
        embedded.ensure_running()
    except machine.CannotGoOn as problem:
        sys.exit(f"{problem}")


def main() -> None:
    """Run one management command, with the database of this installation awake."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    if wants_database(sys.argv):
        wake_services()
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
