"""The store. SQLAlchemy lives here only; rows never leave this package."""
