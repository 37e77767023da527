"""What is not an echo: clutter, amplitude tails, shaded sectors, interference, the receiver's own curve."""
