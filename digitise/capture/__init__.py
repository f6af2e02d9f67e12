"""Photographs become calibrated outlines."""
