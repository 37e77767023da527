"""The link budget, the chance of detection, and the receiver's curve."""
