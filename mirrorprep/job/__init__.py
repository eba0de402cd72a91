"""The job file and the stages in order."""
