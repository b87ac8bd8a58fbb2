"""Documents and texts written from a take-off."""
