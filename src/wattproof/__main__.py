"""`python -m wattproof` is the command `wattproof`."""

from wattproof.cli import main

if __name__ == "__main__":
    main()
