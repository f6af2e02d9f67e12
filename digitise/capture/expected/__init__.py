"""The outline of a foot or a hand on the mat, near to where it is expected."""
