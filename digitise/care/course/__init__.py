"""A limb over the weeks: reduction, levelling off, repeatability."""
