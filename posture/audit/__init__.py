"""An audit over a folder of clips: what is under consent for that is measured, the rest is listed unmeasured, in one table."""
