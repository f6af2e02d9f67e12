"""What is said of a fitted limb: refusals, warnings, and what would make it better known."""
