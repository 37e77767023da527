"""Where the scope lies in a picture: found by its range rings, and the picture unrolled and laid flat by it."""
