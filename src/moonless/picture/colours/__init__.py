"""What the screen's colours mean: which is water and how light falls on it, which are echoes and in what order."""
