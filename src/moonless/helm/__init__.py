"""The async web server and the live loop."""
