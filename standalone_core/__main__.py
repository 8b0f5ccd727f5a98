"""Run the command line: ``python -m cuspwise.standalone_core``."""

from .cli.main import main

if __name__ == "__main__":
    main()
