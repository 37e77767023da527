"""What becomes of the watch when something breaks: scenes through the real inbox and chain, on their own clock."""
