"""The sheets: their geometry, printing and instructions."""
