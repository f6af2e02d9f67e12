"""One script per page."""
