"""Django app declaration."""

from django.apps import AppConfig


class PlanningConfig(AppConfig):
    """The planning package as a Django app."""

    name = "planning"
    default_auto_field = "django.db.models.BigAutoField"
