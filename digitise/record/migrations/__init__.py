"""Changes of the tables, one after the other, from the first form to the present one."""
