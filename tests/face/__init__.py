"""Tests of what finds and follows faces."""
