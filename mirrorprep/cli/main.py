"""Entry point of the command line."""


def main() -> int:
    """Run the command line and return its exit code."""
    return 0
