"""The stand-ins beside this file (`reading_fakes` and others) can be imported by the tests of every folder below."""
