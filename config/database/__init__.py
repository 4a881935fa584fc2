"""How the application meets PostgreSQL: two roles, one database."""
