"""Tables in, a described package of files out; no database, no screen, the same bytes each time."""
