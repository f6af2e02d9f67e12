"""The foot of a standing leg: a usual foot, bent until its outline is the one in the photographs."""
