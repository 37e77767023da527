"""The plan: its time, its dangers against brute force, the ways it proposes."""
