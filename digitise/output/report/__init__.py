"""The report as content, PDF and exchange file."""
