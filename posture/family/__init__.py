"""Old films and photographs of one child: measured in one go, looked at for being of one child, and laid out over the years."""
