"""``python -m excursions``."""

from excursions.cli import main

if __name__ == "__main__":
    main()
