"""Filming in the clinic: the steps of an examination, their marks, and the recording on disk."""
