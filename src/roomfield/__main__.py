"""``python -m roomfield`` is the command line."""

from roomfield.cli.main import run

if __name__ == "__main__":
    run()
