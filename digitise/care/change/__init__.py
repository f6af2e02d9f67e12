"""Two visits, or two limbs, compared."""
