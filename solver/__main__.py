"""Run the command line as `python -m solver`."""

from solver.cli import main

if __name__ == "__main__":
    main()
