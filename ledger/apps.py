"""Django app declaration."""

from django.apps import AppConfig


class LedgerConfig(AppConfig):
    """The ledger package as a Django app."""

    name = "ledger"
    default_auto_field = "django.db.models.BigAutoField"
