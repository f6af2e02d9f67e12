"""The outline of a foot on the mat, near to where it is expected."""
