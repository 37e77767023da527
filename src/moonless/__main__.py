"""``python -m moonless``: the same as the ``moonless`` command."""

from moonless.cli import main

if __name__ == "__main__":
    main()
