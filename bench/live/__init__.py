"""The real command on real links, with the demo's made radar sent to it at the pace of life."""
