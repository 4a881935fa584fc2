"""Settings for the commands that work on files alone: no tables, no database, a quick start."""

from __future__ import annotations

INSTALLED_APPS = ["planning.apps.PlanningCommands", "ledger.apps.LedgerCommands"]
DATABASES: dict[str, object] = {}
USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en"
USE_I18N = False
LOGGING_CONFIG = None
