"""Photos of an invented shop's fittings with their truth, and the programs that render them."""
