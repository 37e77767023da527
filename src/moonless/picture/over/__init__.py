"""What lies over the picture of a radar: rings and lines, writing and boxes, marks that are drawn at one place."""
