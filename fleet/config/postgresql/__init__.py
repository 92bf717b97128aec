"""PostgreSQL as a database of this project: behind the second wall, a connection is told whose rows it shows."""
