"""Photographs read, turned upright, bounded and stripped."""
