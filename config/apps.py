"""The wiring app: users, audit trail, jobs, base pages. It knows no domain word."""

from django.apps import AppConfig


class WiringConfig(AppConfig):
    """Registers the parts every other package builds on."""

    name = "config"
    label = "config"
    default_auto_field = "django.db.models.BigAutoField"


class CommandsOnly(AppConfig):
    """An app whose commands are wanted and whose tables are not; starts in a third of the time."""

    def import_models(self) -> None:
        """Leave the models alone."""
        self.models = {}
