"""A limb that lies: where it is over its sheet, and the axis along it."""
