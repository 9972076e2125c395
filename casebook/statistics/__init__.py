"""Arrays and frames in, frozen results out: the arithmetic of a case. No database, no screen."""
