"""How a fit is shown: files, page and terminal."""
