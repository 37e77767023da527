"""What is connected: links found, listened to and told in plain lines."""
