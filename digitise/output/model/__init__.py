"""The folder of one measured limb."""
