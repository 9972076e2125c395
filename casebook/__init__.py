"""A longitudinal case database for clinicians who assess runners."""

__version__ = "0.1.0"
