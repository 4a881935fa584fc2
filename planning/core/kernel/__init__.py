"""The plan of a whole book at once, equal to the cent with the plan of one household."""
