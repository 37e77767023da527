"""What the instruments are held against: their own words over time, and the world that stands still."""
