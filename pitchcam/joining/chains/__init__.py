"""Ways from a part to a port with fittings of the stock."""
