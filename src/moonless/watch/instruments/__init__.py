"""What the boat's instruments say, which source is believed, and what cannot be believed."""
