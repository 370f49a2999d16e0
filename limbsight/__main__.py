"""``python -m limbsight``."""

from limbsight.cli import main

if __name__ == "__main__":
    main(prog_name="limbsight")
