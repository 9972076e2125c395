"""`python -m casebook.cli` does what `casebook` does."""

from casebook.cli import main

main()
