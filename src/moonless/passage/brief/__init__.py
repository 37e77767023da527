"""The plan on paper and on a phone: page, PDF, picture, plain data."""
