"""Limb shape from photographs and tape: measure, show and caution; never diagnose."""

__version__ = "0.1.0"
