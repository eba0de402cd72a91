"""Pictures, files and the traveller."""
