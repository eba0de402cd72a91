"""Pure kernels on arrays: numpy and scipy only."""
