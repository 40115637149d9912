"""The faces of the same actions: command line, JSON API, pages, paper."""
