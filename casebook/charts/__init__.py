"""Frame in, Altair chart out: no database, no screen."""
