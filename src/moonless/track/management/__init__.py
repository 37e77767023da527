"""Track management: initiation, existence, confirmation, handing over and deletion."""
