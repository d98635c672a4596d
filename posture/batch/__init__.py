"""Measuring in child processes: a clip on which native code crashes or hangs costs that clip and nothing else."""
