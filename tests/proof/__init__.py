"""Programs that show the figures which the project claims; run them from the top folder with ``python -m``."""
