"""Who comes in: connections, screens that are paired, what their pages may load."""
