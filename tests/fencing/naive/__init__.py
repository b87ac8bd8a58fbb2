"""A second counter, written from the printed rules alone: loops and fractions, and not one line of the engine's."""
