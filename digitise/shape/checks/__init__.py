"""What speaks against a fitted limb: refusals and warnings."""
