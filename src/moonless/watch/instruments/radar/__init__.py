"""Whether the radar's video can be believed: the stream, the order of its spokes, and whether it hears."""
