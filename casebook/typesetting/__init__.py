"""Summary in, page out: a PDF without a browser, or HTML; no database, no screen."""
