"""The posture beside the suspected side and the examination: what the findings say, how fast, and how far to trust it.

Pure functions on values. Nothing here looks at a picture, moves a neck or names a disease on its own.
"""
