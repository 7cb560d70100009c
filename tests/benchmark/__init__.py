"""What the program costs, as ratios to what cannot be saved."""
