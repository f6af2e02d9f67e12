"""Files and words of a wrap plan."""
