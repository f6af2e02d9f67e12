"""Plain mathematics on float arrays: rigid motions, pinhole cameras, support functions."""
