"""What lies between antenna and target: air, rain, sea, land's height and shadow."""
