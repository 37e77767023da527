"""What the tracker learns of the radar: strays, the plots' scatter, how each turn lies askew."""
