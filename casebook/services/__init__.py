"""One verb each: fetch, decide, store, one commit. The only door to the store."""
