"""Markers, lens and poses: where every camera and sheet stood."""
