"""The wiring app: users, audit trail, jobs, base pages. It knows no domain word."""

from django.apps import AppConfig


class WiringConfig(AppConfig):
    """Registers the parts every other package builds on."""

    name = "config"
    label = "config"
    default_auto_field = "django.db.models.BigAutoField"
