"""Files and words of a course."""
