"""What is true of a case, in plain Python: values, rules and refusals. Standard library only."""
