"""The shop's fittings: the sheet a person keeps, and the record of every move."""
