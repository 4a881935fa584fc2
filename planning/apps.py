"""Django app declaration."""

from django.apps import AppConfig

from config.apps import CommandsOnly


class PlanningConfig(AppConfig):
    """The planning package as a Django app."""

    name = "planning"
    default_auto_field = "django.db.models.BigAutoField"


class PlanningCommands(CommandsOnly):
    """The package's commands that need no tables."""

    name = "planning"
