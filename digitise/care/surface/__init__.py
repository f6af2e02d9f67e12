"""A limb's surface as a chart, and places on it in words."""
