"""The page of practice: exercises made in a process of their own, answered at the helm or at home."""
