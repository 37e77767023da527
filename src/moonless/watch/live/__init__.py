"""The watch kept on live links: what comes in and waits, the one thread that works on it, the recording."""
