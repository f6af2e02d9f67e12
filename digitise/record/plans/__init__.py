"""The plan of a wrap that was kept with a visit."""
