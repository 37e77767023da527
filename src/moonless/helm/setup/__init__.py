"""Setting up without a manual: what is heard, charts by folder, boat and radar by questions."""
