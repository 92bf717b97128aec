"""SQLite as a database of this project: a row lock outside a transaction is refused, as PostgreSQL refuses it."""
