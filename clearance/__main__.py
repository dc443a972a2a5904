"""`python -m clearance`."""

from clearance.cli import main

if __name__ == "__main__":
    main()
