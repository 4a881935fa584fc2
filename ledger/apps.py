"""Django app declaration."""

from django.apps import AppConfig

from config.apps import CommandsOnly


class LedgerConfig(AppConfig):
    """The ledger package as a Django app."""

    name = "ledger"
    default_auto_field = "django.db.models.BigAutoField"


class LedgerCommands(CommandsOnly):
    """The package's commands that need no tables."""

    name = "ledger"
