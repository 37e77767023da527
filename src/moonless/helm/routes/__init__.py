"""Routes at the helm: drawn, checked, kept, followed."""
