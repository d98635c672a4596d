"""Records: persons by a code, what was measured of them and when, in one file on this machine, for years."""
