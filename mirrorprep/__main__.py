"""Run the command line with ``python -m mirrorprep``."""

from mirrorprep.cli import main

if __name__ == "__main__":
    main()
