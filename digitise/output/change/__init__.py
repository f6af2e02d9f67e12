"""Files and words of a comparison."""
