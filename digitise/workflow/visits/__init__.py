"""Measured visits of a limb: what each holds, and where they come from."""
