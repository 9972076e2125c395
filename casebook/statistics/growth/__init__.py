"""The course of many runners: a line for each, and what these lines have in common."""
