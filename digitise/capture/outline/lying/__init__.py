"""A limb that lies over its sheet, as a region of its strip: with its own shadow, and supports under it."""
