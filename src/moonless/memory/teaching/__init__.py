"""Many summaries to what they teach."""
