"""The public door's rooms; the names themselves are taken from ``moonless``, which imports them when they are used."""
