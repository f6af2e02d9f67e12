"""What the records know of a client's safety."""
