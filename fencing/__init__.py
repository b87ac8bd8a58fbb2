"""The fencing engine: from a site measure to a take-off, in integer millimetres. Pure Python."""
