"""The adapter made of two donors: joint, alloy, heat, loads, and what is refused."""
