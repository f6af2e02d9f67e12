"""How much of a limb the photographs show: what is left out, unseen or asked for."""
