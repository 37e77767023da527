"""The server: pages, chart tiles, the one WebSocket protocol and each screen's session."""
