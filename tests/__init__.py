"""Tests of posture, one folder a room, and the programs that prove its figures."""
