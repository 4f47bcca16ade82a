"""Risk room: what a set of trials says, with the error of saying it. Pure functions of arrays."""
