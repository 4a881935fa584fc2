"""How the application meets PostgreSQL: two roles, one database, one firm a transaction."""

from config.database.scope import UnscopedError, current_firm, firm_scope, user_scope

__all__ = ["UnscopedError", "current_firm", "firm_scope", "user_scope"]
