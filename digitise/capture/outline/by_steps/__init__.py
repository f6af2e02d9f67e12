"""The limb by steps of light alone."""
