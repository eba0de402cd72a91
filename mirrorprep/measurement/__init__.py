"""Volume, mass, walls and their uncertainty."""
