"""A leg against the range of what legs usually are."""
