"""Django app declaration."""

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    """The reports package as a Django app."""

    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"
