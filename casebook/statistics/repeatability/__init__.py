"""Repeatability: how far two measurements of somebody who did not change lie apart."""
