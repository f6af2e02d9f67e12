"""The order of the steps, shared by command line and page."""
