"""Frames in; faces out, followed from frame to frame. Nothing but what was seen. Only this room imports mediapipe."""
