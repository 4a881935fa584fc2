#!/usr/bin/env python3
"""Django's command line for Towpath."""

import os
import sys

# These work on files alone and start without the tables.
ON_FILES = frozenset({"evaluate", "tax"})
# These too need no database.
WITHOUT_DATABASE = frozenset(
    {*ON_FILES, "help", "check", "compilemessages", "makemessages", "collectstatic"}
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
    on_files = len(sys.argv) > 1 and sys.argv[1] in ON_FILES
    settings = "config.settings_files" if on_files else "config.settings"
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", settings)
    if wants_database(sys.argv):
        wake_services()
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
