"""Outlines and tape become a limb."""
