"""Run the command line as `python -m solver`."""

from solver.start import main

if __name__ == "__main__":
    main()
