"""Whether a client may be wrapped on this tool's numbers: signs, conditions, the check of the arteries."""
