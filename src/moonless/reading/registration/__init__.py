"""Where radar and chart disagree: heading bias and offset, the position without a receiver, the bow mark."""
