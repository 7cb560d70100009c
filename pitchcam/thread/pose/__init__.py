"""How a part lies on the plate, by its outline, its hull and one of its threads."""
