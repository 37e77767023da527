"""Echo: from one scan to its plots and shores."""
