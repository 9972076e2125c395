"""The face in the browser: pages that load, call a service and show."""
