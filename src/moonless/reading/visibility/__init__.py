"""What the radar can see from here, what is hidden, what may hide there, and what opens when."""
