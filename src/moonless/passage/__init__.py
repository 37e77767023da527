"""The plan for tonight."""
