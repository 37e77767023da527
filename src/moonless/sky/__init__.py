"""Sun, moon, twilight, how dark it is."""
