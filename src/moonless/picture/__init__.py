"""A radar read from the picture of its screen: where the scope is, what its colours mean, how far and which way."""
