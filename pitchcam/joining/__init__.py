"""From two names to a tight joint: rooms for mating, bolting, stock, chains, brazing, papers."""
