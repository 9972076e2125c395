"""The starter catalogue as readable data files, their loader, and units."""
