"""The watch's own process: started, asked, and listened to."""
