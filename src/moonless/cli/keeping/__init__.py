"""What is kept of the user's: the paired screens, and everything private."""
