"""What earlier turns say: ground that had answered before, and how strong the plots are that nothing explains."""
