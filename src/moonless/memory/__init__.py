"""What many runs teach: each reduced by itself to a small summary, summaries put together in any order."""
