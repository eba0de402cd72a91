"""Materials, shrinkage, quantities, filling and forces."""
