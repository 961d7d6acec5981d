"""Alembic migrations, run by :func:`service.core.database.migrate`."""
