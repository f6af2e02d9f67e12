"""``python -m digitise`` runs the command line."""

from digitise.cli import main

if __name__ == "__main__":
    main()
