"""The limb's two edges in a photograph, each point with its own sd."""
