"""What makes plots beside this file (`track_world`) can be imported by the tests of every folder below."""
