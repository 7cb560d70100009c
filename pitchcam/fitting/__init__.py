"""What joins a thread to an engine: mating, adapters from stock, and the joint made in the shop."""
