"""The one record of a measured clip, and its files."""
